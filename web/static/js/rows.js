// Adds rows to the readings without asking the server; the button does the same without a script.

const MOST_ROWS = 200;

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
      input.name = input.name.replace(/^row\.\d+\./, `row.${number}.`);
      input.setAttribute("aria-label", input.getAttribute("aria-label").replace(/\d+$/, String(number)));
      input.value = "";
      input.defaultValue = "";
    }
    body.append(row);
  }

  button?.addEventListener("click", (event) => {
    event.preventDefault();
    add();
    body.lastElementChild.querySelector("input").focus();
  });
  // A reading in the last row asks for the next one.
  body.addEventListener("input", (event) => {
    if (event.target.value && event.target.closest("tr") === body.lastElementChild) add();
  });
}
