// Keeps what is filled in and brings the figures up to date while the form is being corrected.

const WAIT_MS = 500;
const TYPING_MS = 250;

export function refreshOnChange(form) {
  const parts = form.dataset.refresh.split(" ");
  let timer = 0;
  let running = null;

  async function refresh() {
    running?.abort();
    running = new AbortController();
    const fields = new FormData(form);
    fields.set("act", "stay");
    for (const id of parts) document.getElementById(id)?.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(form.action, { method: "POST", body: fields, signal: running.signal });
      if (!answer.ok) {
        // Nothing was taken; what was typed stays in the form and in this tab's memory.
        tell("What you typed could not be kept just now. It stays in this page.");
        return;
      }
      tell("");
      sessionStorage.removeItem(`typed ${new URL(form.action).pathname}`);
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      for (const id of parts) swap(id, page.getElementById(id));
    } catch (error) {
      if (error.name === "AbortError") return;
      tell("No connection just now. What you typed stays in this page.");
    } finally {
      for (const id of parts) document.getElementById(id)?.removeAttribute("aria-busy");
    }
  }

  function tell(text) {
    let place = form.querySelector("[data-kept]");
    if (!place) {
      if (!text) return;
      place = document.createElement("p");
      place.className = "told";
      place.dataset.kept = "";
      place.setAttribute("role", "status");
      form.prepend(place);
    }
    place.textContent = text;
    place.hidden = !text;
  }

  function swap(id, fresh) {
    const old = document.getElementById(id);
    if (!old || !fresh) return;
    const focused = old.contains(document.activeElement) ? document.activeElement : null;
    old.replaceWith(fresh);
    if (!focused) return;
    const same = focused.type === "radio" ? `[value="${CSS.escape(focused.value)}"]` : "";
    form.querySelector(`[name="${CSS.escape(focused.name)}"]${same}`)?.focus();
  }

  function soon(wait) {
    clearTimeout(timer);
    timer = setTimeout(refresh, wait);
  }

  form.addEventListener("change", () => soon(WAIT_MS));
  // A search answers while it is typed; other fields wait until they are left.
  form.addEventListener("input", (event) => {
    if (event.target.matches("[data-find]")) soon(TYPING_MS);
  });
}
