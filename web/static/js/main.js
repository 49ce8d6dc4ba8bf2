// What every page runs. Each part is fetched only where the page has use for it.
// A form that is on its way is not sent twice; coming back to the page frees it again.
document.addEventListener("submit", (event) => {
  if (event.target.method !== "post" || event.defaultPrevented) return;
  setTimeout(() => event.target.querySelectorAll("button").forEach((one) => (one.disabled = true)));
});
addEventListener("pageshow", () => {
  document.querySelectorAll("form[method=post] button").forEach((one) => (one.disabled = false));
});

// A form that was taken led on to another page: what was typed need not be kept any more.
const onItsWay = sessionStorage.getItem("on its way");
if (onItsWay && performance.getEntriesByType("navigation")[0]?.redirectCount > 0) {
  sessionStorage.removeItem(onItsWay);
  sessionStorage.removeItem("on its way");
}

// What is looked for on the page, and what is done with the part that serves it. The parts are
// fetched side by side: none waits for another.
const PARTS = [
  ["[data-desk]", () => import("./desk.js"), (part, [desk]) => part.useKeys(desk)],
  ["[data-figure]", () => import("./charts.js"), (part, figures) => part.offerCharts(figures)],
  ["[data-upload]", () => import("./upload.js"), (part, [form]) => part.watchUpload(form)],
  ["[data-refresh]", () => import("./refresh.js"), (part, [place]) => part.refreshOnChange(place)],
  ["[data-live]", () => import("./live.js"), (part, [place]) => part.followTest(place)],
  ["[data-wait]", () => import("./wait.js"), (part, [place]) => part.waitForFigures(place)],
  ["form[data-keep]", () => import("./typed.js"), (part, forms) => forms.forEach(part.keepTyped)],
  ["[data-rows]", () => import("./rows.js"), (part, [table]) => part.addRows(table)],
  ["[data-passkey]", () => import("./passkeys.js"), (part, buttons) => part.offerPasskeys(buttons)],
  ["[data-cover]", () => import("./cover.js"), (part, places) => places.forEach(part.coverByDrawing)],
  ["[data-drawing]", () => import("./photos.js"), (part) => part.refreshPhotos()],
];
for (const [looked, fetchPart, use] of PARTS) {
  const found = document.querySelectorAll(looked);
  if (found.length > 0) fetchPart().then((part) => use(part, found));
}
