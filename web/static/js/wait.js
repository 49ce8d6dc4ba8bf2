// Opens the run's page again once its figures are there.

const STEP_MS = 1500;

export function waitForFigures(place) {
  const ask = async () => {
    const answer = await fetch(place.dataset.wait, { headers: { Accept: "application/json" } });
    if (answer.ok && (await answer.json()).state !== "working") {
      location.reload();
      return;
    }
    setTimeout(ask, STEP_MS);
  };
  setTimeout(ask, STEP_MS);
}
