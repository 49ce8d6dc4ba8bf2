// Keys of the desk. Each does what a button or link on the page does; none acts while somebody
// types, with a modifier held, or once they are switched off (WCAG 2.2, 2.1.4).
const STORE = "benchledger-keys";

function areOn() {
  return localStorage.getItem(STORE) !== "off";
}

function offerSwitch(shown) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "plain";
  const tell = () => {
    button.textContent = areOn() ? "Switch keys off" : "Switch keys on";
    shown.classList.toggle("off", !areOn());
  };
  button.addEventListener("click", () => {
    localStorage.setItem(STORE, areOn() ? "off" : "on");
    tell();
  });
  tell();
  shown.append(button);
  shown.classList.add("ready");
}

function isTyping(target) {
  return target.closest("input:not([type=checkbox]), textarea, select, [contenteditable]") !== null;
}

function move(holder, step) {
  const cases = [...holder.querySelectorAll("[data-case]")];
  const at = cases.indexOf(document.activeElement);
  const next = cases[Math.min(Math.max(at + step, 0), cases.length - 1)];
  next?.focus();
}

function press(key, holder) {
  const button = document.querySelector(`[data-key="${key}"]`);
  if (button !== null) {
    const form = button.closest("form");
    const missing = form !== null && button.type === "submit" && !form.reportValidity();
    if (!missing) button.click();
    return true;
  }
  const toFocus = document.querySelector(`[data-focus="${key}"]`);
  if (toFocus !== null) {
    const field = document.getElementById(toFocus.dataset.focusOn);
    for (let up = field.closest("details"); up !== null; up = up.parentElement.closest("details")) up.open = true;
    field.focus();
    return true;
  }
  if (holder.dataset.desk !== "queue") return false;
  const here = document.activeElement.closest("tr");
  if (key === "j" || key === "k") move(holder, key === "j" ? 1 : -1);
  else if (key === "o") (here?.querySelector("[data-case]") ?? holder.querySelector("[data-case]")).click();
  else if (key === "x") here?.querySelector("input[type=checkbox]")?.click();
  else if (key === "n") holder.querySelector("a.main")?.click();
  else return false;
  return true;
}

export function useKeys(holder) {
  document.addEventListener("keydown", (event) => {
    if (!areOn() || event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
    if (event.key.length !== 1 || isTyping(event.target)) return;
    if (press(event.key.toLowerCase(), holder)) event.preventDefault();
  });
  document.querySelectorAll("[data-keys-shown]").forEach(offerSwitch);
}
