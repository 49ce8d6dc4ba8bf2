// What every page runs. Each part is fetched only where the page has use for it.
const figures = document.querySelectorAll("[data-figure]");
if (figures.length > 0) {
  const { offerCharts } = await import("./charts.js");
  offerCharts(figures);
}
if (document.querySelector("[data-upload]")) {
  const { watchUpload } = await import("./upload.js");
  watchUpload(document.querySelector("[data-upload]"));
}
if (document.querySelector("[data-refresh]")) {
  const { refreshOnChange } = await import("./refresh.js");
  refreshOnChange(document.querySelector("[data-refresh]"));
}
if (document.querySelector("[data-wait]")) {
  const { waitForFigures } = await import("./wait.js");
  waitForFigures(document.querySelector("[data-wait]"));
}
