// What is typed outlives a closed tab or a lost connection: it is kept in this tab's session until
// the form has been taken.

export function keepTyped(form) {
  const key = `typed ${new URL(form.action).pathname}`;
  const controls = () => [...form.elements].filter((one) => one.name && one.type !== "hidden" && one.type !== "file");
  const before = sessionStorage.getItem(key);
  if (before) {
    const typed = JSON.parse(before);
    for (const one of controls()) {
      if (!(one.name in typed) || one.type === "submit") continue;
      if (one.type === "radio" || one.type === "checkbox") one.checked = typed[one.name] === one.value;
      else if (one.value === "" || one.value === one.defaultValue) one.value = typed[one.name];
    }
  }
  form.addEventListener("input", () => {
    const typed = {};
    for (const one of controls()) {
      if ((one.type === "radio" || one.type === "checkbox") && !one.checked) continue;
      if (one.type !== "submit") typed[one.name] = one.value;
    }
    sessionStorage.setItem(key, JSON.stringify(typed));
  });
  form.addEventListener("submit", () => sessionStorage.removeItem(key));
}
