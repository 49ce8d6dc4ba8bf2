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

  function show(a, b) {
    const [left, right] = [Math.min(a[0], b[0]), Math.max(a[0], b[0])];
    const [top, bottom] = [Math.min(a[1], b[1]), Math.max(a[1], b[1])];
    frame.hidden = false;
    frame.style.left = `${left}%`;
    frame.style.top = `${top}%`;
    frame.style.width = `${right - left}%`;
    frame.style.height = `${bottom - top}%`;
    [left, top, right, bottom].forEach((value, i) => (fields[i].value = value.toFixed(1)));
  }

  place.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    start = at(event);
    place.setPointerCapture(event.pointerId);
  });
  place.addEventListener("pointermove", (event) => start && show(start, at(event)));
  place.addEventListener("pointerup", () => {
    if (!frame.hidden) form.querySelector("details").open = true;
    start = null;
  });
}
