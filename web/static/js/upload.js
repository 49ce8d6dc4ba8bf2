// Sends the log with its progress shown. Without this script the form sends it just as well.

function inWords(done, total) {
  const share = Math.floor((100 * done) / total);
  return `${share}\u202f% of ${(total / 1e6).toFixed(1)}\u00a0MB sent`;
}

export function watchUpload(form) {
  const place = form.querySelector("[data-progress]");
  const bar = place.querySelector("progress");
  const said = place.querySelector("[data-said]");
  const button = form.querySelector("button");
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const request = new XMLHttpRequest();
    request.open("POST", form.action);
    request.upload.addEventListener("progress", (news) => {
      if (!news.lengthComputable) return;
      bar.value = news.loaded / news.total;
      said.textContent = news.loaded < news.total ? inWords(news.loaded, news.total) : "Sent; looking at its columns";
    });
    request.addEventListener("load", () => {
      if (request.status < 400) {
        location.assign(request.responseURL);
        return;
      }
      // The refusal is a page: what it says takes the place of this one's content.
      const answer = new DOMParser().parseFromString(request.responseText, "text/html");
      const told = answer.querySelector("main");
      if (told) document.querySelector("main").replaceChildren(...told.childNodes);
    });
    request.addEventListener("error", () => {
      said.textContent = "The connection broke off. Nothing was stored; send it again.";
      button.disabled = false;
    });
    place.hidden = false;
    button.disabled = true;
    request.send(new FormData(form));
  });
}
