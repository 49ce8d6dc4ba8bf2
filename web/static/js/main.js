// What every page runs. Each part is fetched only where the page has use for it.
// A form that is on its way is not sent twice; coming back to the page frees it again.
document.addEventListener("submit", (event) => {
  if (event.target.method !== "post" || event.defaultPrevented) return;
  setTimeout(() => event.target.querySelectorAll("button").forEach((one) => (one.disabled = true)));
});
addEventListener("pageshow", () => {
  document.querySelectorAll("form[method=post] button").forEach((one) => (one.disabled = false));
});

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
if (document.querySelector("[data-live]")) {
  const { followTest } = await import("./live.js");
  followTest(document.querySelector("[data-live]"));
}
if (document.querySelector("[data-wait]")) {
  const { waitForFigures } = await import("./wait.js");
  waitForFigures(document.querySelector("[data-wait]"));
}
for (const form of document.querySelectorAll("form[data-keep]")) {
  const { keepTyped } = await import("./typed.js");
  keepTyped(form);
}
if (document.querySelector("[data-rows]")) {
  const { addRows } = await import("./rows.js");
  addRows(document.querySelector("[data-rows]"));
}
if (document.querySelector("[data-passkey]")) {
  const { offerPasskeys } = await import("./passkeys.js");
  offerPasskeys(document.querySelectorAll("[data-passkey]"));
}
if (document.querySelector("[data-desk]")) {
  const { useKeys } = await import("./desk.js");
  useKeys(document.querySelector("[data-desk]"));
}
for (const place of document.querySelectorAll("[data-cover]")) {
  const { coverByDrawing } = await import("./cover.js");
  coverByDrawing(place);
}
if (document.querySelector("[data-drawing]")) {
  const { refreshPhotos } = await import("./photos.js");
  refreshPhotos();
}
