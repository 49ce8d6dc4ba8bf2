// Keeps a test that goes on up to date: asks about once a second whether anything is new.

const STEP_MS = 1000;
const LONGEST_MS = 30000;

export function followTest(place) {
  let known = null;
  let pause = STEP_MS;
  let timer = 0;

  async function ask() {
    clearTimeout(timer);
    if (document.hidden) return;
    const headers = known ? { "If-None-Match": known } : {};
    try {
      // Without the cookie everybody gets the same answer, which the server need not make anew.
      const answer = await fetch(place.dataset.live, { headers, credentials: "omit" });
      if (answer.status === 200) {
        known = answer.headers.get("ETag");
        show(await answer.text());
      } else if (answer.status === 404) {
        tell("This test can be watched no longer.");
        return;
      } else if (answer.status !== 304) {
        throw new TypeError(`answer ${answer.status}`);
      }
      pause = STEP_MS;
      tell("");
    } catch (error) {
      if (!(error instanceof TypeError)) throw error;
      pause = Math.min(2 * pause, LONGEST_MS);
      tell("The readings can’t be reached just now; asking again.");
    }
    if (isRunning()) timer = setTimeout(ask, pause);
  }

  const isRunning = () => place.firstElementChild?.dataset.running === "yes";

  function show(html) {
    const fresh = new DOMParser().parseFromString(html, "text/html").getElementById("live-now");
    if (!fresh) return;
    const wasOpen = place.querySelector("details")?.open ?? false;
    const details = fresh.querySelector("details");
    if (details) details.open = wasOpen;
    place.replaceChildren(fresh);
  }

  function tell(words) {
    const line = document.getElementById("live-fault");
    if (line && line.textContent !== words) line.textContent = words;
  }

  document.addEventListener("visibilitychange", () => {
    if (!document.hidden && isRunning()) ask();
  });
  if (isRunning()) timer = setTimeout(ask, STEP_MS);
}
