// Keeps what is filled in and brings the figures up to date while the form is being corrected.

const WAIT_MS = 500;

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
      if (!answer.ok) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      for (const id of parts) swap(id, page.getElementById(id));
    } catch (error) {
      if (error.name !== "AbortError") throw error;
    } finally {
      for (const id of parts) document.getElementById(id)?.removeAttribute("aria-busy");
    }
  }

  function swap(id, fresh) {
    const old = document.getElementById(id);
    if (!old || !fresh) return;
    const focused = old.contains(document.activeElement) ? document.activeElement.name : null;
    old.replaceWith(fresh);
    if (focused) form.querySelector(`[name="${CSS.escape(focused)}"]`)?.focus();
  }

  form.addEventListener("change", () => {
    clearTimeout(timer);
    timer = setTimeout(refresh, WAIT_MS);
  });
}
