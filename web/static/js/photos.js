// Looks again until the photographs of a draft are drawn.

const STEP_MS = 1500;
const MOST = 40;

export function refreshPhotos() {
  let n = 0;
  const look = async () => {
    if (++n > MOST) return;
    const answer = await fetch(location.pathname);
    if (answer.ok) {
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.getElementById("photos");
      if (fresh && !fresh.querySelector("[data-drawing]")) {
        document.getElementById("photos").replaceWith(fresh);
        const { coverByDrawing } = await import("./cover.js");
        document.querySelectorAll("#photos [data-cover]").forEach(coverByDrawing);
        return;
      }
    }
    setTimeout(look, STEP_MS);
  };
  setTimeout(look, STEP_MS);
}
