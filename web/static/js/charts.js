// Puts a chart to explore in the place of a server-drawn picture, when it is asked for.
// The picture keeps its room on the page, so nothing below it moves.

const body = document.body;
let library = null;

function loadLibrary() {
  library ??= new Promise((resolve, reject) => {
    // The library writes its rules into this element; made first, it carries the page's nonce.
    const style = document.createElement("style");
    style.id = "plotly.js-style-global";
    style.nonce = document.getElementById("main-script").nonce;
    document.head.append(style);
    const script = document.createElement("script");
    script.src = body.dataset.plotly;
    script.onload = () => resolve(window.Plotly);
    script.onerror = () => reject(new Error("the chart library could not be fetched"));
    document.head.append(script);
  });
  return library;
}

function colours() {
  const style = getComputedStyle(document.documentElement);
  const of = (name) => style.getPropertyValue(`--${name}`).trim();
  const roles = { wall: of("soft"), loss: of("soft"), steady: of("line") };
  for (const name of ["measured", "printed", "limit"]) roles[name] = of(name);
  for (let i = 1; i <= 6; i += 1) roles[`series-${i}`] = of(`series-${i}`);
  return { ink: of("ink"), soft: of("soft"), paper: of("paper"), grid: of("grid"), roles };
}

function paintTrace(trace, tones) {
  const colour = tones.roles[trace.meta?.role] ?? tones.ink;
  if (trace.line) trace.line.color = colour;
  if (trace.meta?.part === "band") trace.fillcolor = colour;
  if (trace.marker) {
    trace.marker.color = colour;
    if (trace.marker.line) trace.marker.line.color = colour;
  }
  if (trace.type === "bar") {
    trace.marker = { color: colour, line: { color: tones.paper, width: 2 } };
    trace.textfont = { color: tones.ink };
  }
  for (const bar of [trace.error_x, trace.error_y]) if (bar) bar.color = colour;
}

function paint(figure, tones) {
  const { data, layout } = figure;
  data.forEach((trace) => paintTrace(trace, tones));
  layout.font = { ...layout.font, color: tones.ink, family: getComputedStyle(body).fontFamily };
  layout.paper_bgcolor = tones.paper;
  layout.plot_bgcolor = tones.paper;
  layout.hoverlabel = { ...layout.hoverlabel, bgcolor: tones.paper, bordercolor: tones.soft, font: { color: tones.ink } };
  for (const [name, axis] of Object.entries(layout)) {
    if (!/^[xy]axis\d*$/.test(name)) continue;
    axis.gridcolor = tones.grid;
    axis.linecolor = tones.soft;
    axis.tickcolor = tones.soft;
  }
  for (const shape of layout.shapes ?? []) {
    const colour = tones.roles[shape.name] ?? tones.soft;
    if (shape.type === "rect") shape.fillcolor = colour;
    else shape.line.color = colour;
  }
  for (const note of layout.annotations ?? []) {
    note.font = { ...note.font, color: tones.roles[note.name] ?? tones.ink };
    note.bgcolor = tones.paper;
  }
}

function labelsAboveRows(layout) {
  const { tickvals, ticktext } = layout.yaxis;
  layout.yaxis.showticklabels = false;
  layout.margin = { ...layout.margin, l: 8 };
  tickvals.forEach((row, i) => {
    layout.annotations.push({
      text: ticktext[i], x: 0, xref: "paper", xanchor: "left", y: row - 0.34, showarrow: false, align: "left",
    });
  });
}

function fit(layout, stage) {
  layout.width = Math.floor(stage.clientWidth);
  layout.height = Math.floor(stage.clientHeight);
  if (layout.yaxis?.ticktext && layout.width < 560) labelsAboveRows(layout);
  if (layout.grid && layout.width < 560) {
    layout.grid = { ...layout.grid, rows: layout.grid.rows * layout.grid.columns, columns: 1 };
  }
}

async function explore(holder, button) {
  button.disabled = true;
  button.textContent = "Fetching the chart";
  const stage = holder.querySelector(".stage");
  let Plotly;
  try {
    Plotly = await loadLibrary();
  } catch {
    button.textContent = "The chart could not be fetched; the picture and its table stand";
    return;
  }
  const source = holder.querySelector('script[type="application/json"]').textContent;
  const draw = async () => {
    const figure = JSON.parse(source);
    fit(figure.layout, stage);
    paint(figure, colours());
    await Plotly.react(live, figure.data, figure.layout, {
      displaylogo: false,
      responsive: false,
      modeBarButtonsToRemove: ["lasso2d", "select2d", "autoScale2d"],
    });
  };
  const live = document.createElement("div");
  live.className = "live";
  live.setAttribute("role", "group");
  live.setAttribute("aria-label", "Chart to explore; the table below holds the same figures");
  stage.style.height = `${stage.clientHeight}px`;
  stage.append(live);
  await draw();
  button.disabled = false;
  button.textContent = "Back to the picture";
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
  const sizes = new ResizeObserver(() => {
    if (!live.hidden && live.clientWidth !== live.lastWidth) {
      live.lastWidth = live.clientWidth;
      draw();
    }
  });
  live.lastWidth = live.clientWidth;
  sizes.observe(live);
  return live;
}

export function offerCharts(figures) {
  for (const holder of figures) {
    const button = holder.querySelector("[data-explore]");
    let live = null;
    holder.classList.add("ready");
    button.addEventListener("click", async () => {
      if (live === null) {
        live = await explore(holder, button);
        return;
      }
      live.hidden = !live.hidden;
      button.textContent = live.hidden ? "Explore this chart" : "Back to the picture";
    });
  }
}
