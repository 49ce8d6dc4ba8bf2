// Sends logs with their progress shown: several one after another, large ones in pieces that go on
// after a broken connection. Without this script the form sends one file just as well.

const IN_PIECES_FROM = 8 * 1024 * 1024;
const TRIES = 5;
const WAIT_MS = 1500;

function inWords(name, done, total) {
  const share = Math.floor((100 * done) / total);
  return `${name}: ${share}\u202f% of ${(total / 1e6).toFixed(1)}\u00a0MB sent`;
}

export function watchUpload(form) {
  const input = form.querySelector("input[type=file]");
  const place = form.querySelector("[data-progress]");
  const bar = place.querySelector("progress");
  const said = place.querySelector("[data-said]");
  const list = form.querySelector("[data-sent]");
  const button = form.querySelector("button");
  const token = () => form.querySelector("[name=csrf_token]").value;

  input.multiple = true;
  const drop = form.querySelector("[data-drop]");
  drop.hidden = false;
  for (const name of ["dragover", "dragenter"]) {
    form.addEventListener(name, (event) => {
      event.preventDefault();
      form.classList.add("dropping");
    });
  }
  form.addEventListener("dragleave", () => form.classList.remove("dropping"));
  form.addEventListener("drop", (event) => {
    event.preventDefault();
    form.classList.remove("dropping");
    if (event.dataTransfer.files.length > 0) input.files = event.dataTransfer.files;
  });

  function show(name, done, total) {
    place.hidden = false;
    bar.value = done / total;
    said.textContent = done < total ? inWords(name, done, total) : `${name}: sent; looking at its columns`;
  }

  // Who had no session yet gets one with the first file: the next form must know its token.
  function keepToken(told) {
    if (!told.csrf_token) return;
    for (const field of document.querySelectorAll("[name=csrf_token]")) field.value = told.csrf_token;
  }

  function sendWhole(file, accept) {
    return new Promise((resolve, reject) => {
      const request = new XMLHttpRequest();
      request.open("POST", form.action);
      if (accept) request.setRequestHeader("Accept", accept);
      request.upload.addEventListener("progress", (news) => {
        if (news.lengthComputable) show(file.name, news.loaded, news.total);
      });
      request.addEventListener("load", () => resolve(request));
      request.addEventListener("error", () => reject(new TypeError("connection")));
      const fields = new FormData();
      fields.set("csrf_token", token());
      fields.set("file", file);
      request.send(fields);
    });
  }

  async function beginPieces(file) {
    const fields = new URLSearchParams({ csrf_token: token(), file_name: file.name, n_bytes: String(file.size) });
    const answer = await fetch(form.dataset.pieces, { method: "POST", body: fields, headers: { Accept: "application/json" } });
    const told = await answer.json();
    if (!answer.ok) throw new Error(told.detail);
    keepToken(told);
    return { address: told.location, size: told.piece_bytes, offset: 0 };
  }

  async function resumed(key) {
    const kept = JSON.parse(localStorage.getItem(key) ?? "null");
    if (!kept) return null;
    const answer = await fetch(kept.address, { method: "HEAD" });
    if (!answer.ok) return null;
    return { ...kept, offset: Number(answer.headers.get("Upload-Offset")) };
  }

  async function sendPiece(file, upload) {
    const piece = file.slice(upload.offset, upload.offset + upload.size);
    const isLast = upload.offset + piece.size >= file.size;
    return fetch(upload.address, {
      method: "PATCH",
      body: piece,
      headers: {
        Accept: "application/json",
        "Content-Type": "application/partial-upload",
        "Upload-Offset": String(upload.offset),
        "Upload-Complete": isLast ? "?1" : "?0",
      },
    });
  }

  async function sendInPieces(file) {
    const key = `upload ${file.name} ${file.size} ${file.lastModified}`;
    const upload = (await resumed(key)) ?? (await beginPieces(file));
    localStorage.setItem(key, JSON.stringify({ address: upload.address, size: upload.size }));
    let failures = 0;
    for (;;) {
      show(file.name, upload.offset, file.size);
      try {
        const answer = await sendPiece(file, upload);
        if (answer.status === 409) {
          const now = await fetch(upload.address, { method: "HEAD" });
          upload.offset = Number(now.headers.get("Upload-Offset"));
          if (++failures > TRIES) throw new Error("Another window sends the same file.");
          continue;
        }
        if (answer.status === 201) {
          localStorage.removeItem(key);
          return (await answer.json()).location;
        }
        if (!answer.ok) {
          localStorage.removeItem(key);
          throw new Error((await answer.json()).detail);
        }
        upload.offset = Number(answer.headers.get("Upload-Offset"));
        failures = 0;
      } catch (error) {
        if (!(error instanceof TypeError) || ++failures > TRIES) throw error;
        said.textContent = `${file.name}: the connection broke off; trying again`;
        await new Promise((done) => setTimeout(done, WAIT_MS * failures));
      }
    }
  }

  async function sendOne(file) {
    if (file.size > IN_PIECES_FROM) return { href: await sendInPieces(file) };
    const request = await sendWhole(file, "application/json");
    const told = JSON.parse(request.responseText);
    if (request.status >= 400) throw new Error(told.errors?.map((one) => one.message).join(" ") || told.detail);
    keepToken(told);
    return { href: told.location };
  }

  function note(text, href) {
    list.hidden = false;
    const item = document.createElement("li");
    const link = document.createElement(href ? "a" : "span");
    if (href) link.href = href;
    link.textContent = text;
    item.append(link);
    list.append(item);
  }

  async function sendAlone(file) {
    if (file.size > IN_PIECES_FROM) {
      location.assign(await sendInPieces(file));
      return;
    }
    const request = await sendWhole(file, null);
    if (request.status < 400) {
      location.assign(request.responseURL);
      return;
    }
    // The refusal is a page: what it says takes the place of this one's content.
    const answer = new DOMParser().parseFromString(request.responseText, "text/html");
    const told = answer.querySelector("main");
    if (told) document.querySelector("main").replaceChildren(...told.childNodes);
  }

  async function sendSeveral(files) {
    let n = 0;
    for (const file of files) {
      try {
        const sent = await sendOne(file);
        note(`Go on with ${file.name}`, sent.href);
        n += 1;
      } catch (error) {
        note(`${file.name} was not taken: ${told(error)}`, null);
      }
    }
    place.hidden = false;
    said.textContent = `Files kept, each as a draft of its own: ${n} of ${files.length}.`;
    form.reset();
  }

  function told(error) {
    return error instanceof TypeError
      ? "the connection broke off. What arrived is kept; choose the same file again to go on."
      : error.message;
  }

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const files = [...input.files];
    button.disabled = true;
    try {
      if (files.length === 1) await sendAlone(files[0]);
      else await sendSeveral(files);
    } catch (error) {
      place.hidden = false;
      said.textContent = told(error);
    } finally {
      button.disabled = false;
    }
  });
}
