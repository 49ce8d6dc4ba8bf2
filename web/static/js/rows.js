// Adds rows to the readings without asking the server; the button does the same without a script.

import { putBack, typedBefore } from "./typed.js";

const MOST_ROWS = 200;
const IN_NAME = /^row\.(\d+)\./;

export function addRows(form) {
  const body = form.querySelector("tbody");
  const button = form.querySelector('button[value="add"]');

  function add() {
    const last = body.lastElementChild;
    const number = body.children.length + 1;
    if (number > MOST_ROWS) return;
    const row = last.cloneNode(true);
    row.querySelector("th").textContent = String(number);
    for (const input of row.querySelectorAll("input")) {
      input.name = input.name.replace(IN_NAME, `row.${number}.`);
      input.setAttribute("aria-label", input.getAttribute("aria-label").replace(/\d+$/, String(number)));
      input.value = "";
      input.defaultValue = "";
    }
    body.append(row);
    if (button) button.hidden = number >= MOST_ROWS;
  }

  // Rows that were added here before the page was opened anew come back with what they held.
  const before = Object.entries(typedBefore(form)).filter(([name, value]) => value && IN_NAME.test(name));
  const highest = Math.max(0, ...before.map(([name]) => Number(name.match(IN_NAME)[1])));
  const wanted = Math.min(highest + 1, MOST_ROWS);
  if (highest >= body.children.length) {
    while (body.children.length < wanted) add();
    putBack(form);
  }

  button?.addEventListener("click", (event) => {
    event.preventDefault();
    const old = body.lastElementChild;
    for (let n = 0; n < Number(form.dataset.rows); n += 1) add();
    (old.nextElementSibling ?? old).querySelector("input").focus();
  });
  // A reading in the last row asks for the next one.
  body.addEventListener("input", (event) => {
    if (event.target.value && event.target.closest("tr") === body.lastElementChild) add();
  });
}
