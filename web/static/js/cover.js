// Draws the part of a photograph that is to be covered; the four figures below it say the same.

export function coverByDrawing(place) {
  const form = place.parentElement.querySelector("form");
  const fields = ["left", "top", "right", "bottom"].map((name) => form.querySelector(`[name=${name}]`));
  if (fields.some((one) => !one)) return;
  const frame = document.createElement("div");
  frame.className = "covering";
  frame.hidden = true;
  place.append(frame);
  let start = null;

  function at(event) {
    const box = place.getBoundingClientRect();
    const share = (value, size) => Math.min(Math.max((100 * value) / size, 0), 100);
    return [share(event.clientX - box.left, box.width), share(event.clientY - box.top, box.height)];
  }

  function show(left, top, right, bottom) {
    frame.hidden = !(left < right && top < bottom);
    frame.style.left = `${left}%`;
    frame.style.top = `${top}%`;
    frame.style.width = `${right - left}%`;
    frame.style.height = `${bottom - top}%`;
  }

  function draw(a, b) {
    const drawn = [0, 1].map((i) => Math.min(a[i], b[i])).concat([0, 1].map((i) => Math.max(a[i], b[i])));
    drawn.forEach((value, i) => (fields[i].value = value.toFixed(1)));
    show(...drawn);
  }

  // What is typed is shown on the picture too.
  for (const field of fields) {
    field.addEventListener("input", () => {
      const typed = fields.map((one) => (one.value.trim() ? Number(one.value.replace(",", ".")) : NaN));
      show(...typed.map((value) => Math.min(Math.max(value, 0), 100)));
    });
  }

  place.addEventListener("pointerdown", (event) => {
    if (event.pointerType === "touch" && !form.querySelector("details").open) return;
    event.preventDefault();
    start = at(event);
    place.setPointerCapture(event.pointerId);
  });
  place.addEventListener("pointermove", (event) => start && draw(start, at(event)));
  place.addEventListener("pointercancel", () => (start = null));
  place.addEventListener("pointerup", () => {
    if (!frame.hidden) form.querySelector("details").open = true;
    start = null;
  });
}
