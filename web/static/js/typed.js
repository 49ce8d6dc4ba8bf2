// What is typed outlives a closed tab or a lost connection: it is kept in this tab's session until
// the form has been taken.

const keyOf = (form) => `typed ${new URL(form.action).pathname}`;
const controlsOf = (form) =>
  [...form.elements].filter((one) => one.name && !["hidden", "file", "submit"].includes(one.type));
const isChoice = (one) => one.type === "radio" || one.type === "checkbox";

/** What was typed into the form before, by name. */
export function typedBefore(form) {
  return JSON.parse(sessionStorage.getItem(keyOf(form)) ?? "{}");
}

/** Puts what was typed before where the form still holds what it came with. */
export function putBack(form) {
  const typed = typedBefore(form);
  for (const one of controlsOf(form)) {
    if (!(one.name in typed)) continue;
    if (isChoice(one)) one.checked = typed[one.name] === one.value;
    else if (one.value === "" || one.value === one.defaultValue || one.type === "select-one") one.value = typed[one.name];
  }
}

export function keepTyped(form) {
  putBack(form);
  form.addEventListener("input", () => {
    const typed = {};
    for (const one of controlsOf(form)) if (!isChoice(one) || one.checked) typed[one.name] = one.value;
    sessionStorage.setItem(keyOf(form), JSON.stringify(typed));
  });
  // Whether it is taken shows on the next page, see main.js: on the way it may be lost.
  form.addEventListener("submit", () => sessionStorage.setItem("on its way", keyOf(form)));
}
