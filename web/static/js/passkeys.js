// Asks the browser for a passkey, then sends the form with its answer. A form says where the
// options come from, and whether a passkey is made ("create") or proved ("get").

const toBytes = (text) =>
  Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (c) => c.charCodeAt(0));
const toText = (buffer) =>
  btoa(String.fromCharCode(...new Uint8Array(buffer)))
    .replaceAll("+", "-")
    .replaceAll("/", "_")
    .replaceAll("=", "");

export function offerPasskeys(forms) {
  for (const form of forms) {
    const says = form.querySelector("[data-passkey-says]");
    if (window.PublicKeyCredential === undefined) {
      says.textContent = "This browser has no passkeys; use the other way.";
      continue;
    }
    says.textContent = "";
    form.addEventListener("submit", (event) => {
      if (form.querySelector("[name=credential]")) return;
      // The other listeners see that the form is not on its way yet.
      event.preventDefault();
      event.stopImmediatePropagation();
      prove(form, says);
    });
  }
}

async function prove(form, says) {
  says.textContent = "Waiting for your device…";
  try {
    const credential = await answerOf(form);
    const field = document.createElement("input");
    field.type = "hidden";
    field.name = "credential";
    field.value = JSON.stringify(credential);
    form.append(field);
    says.textContent = "";
    form.submit();
  } catch (error) {
    const isLeft = error.name === "NotAllowedError" || error.name === "AbortError";
    says.textContent =
      error.name === "InvalidStateError"
        ? "This device has a passkey of your account already."
        : isLeft
          ? "No passkey was used. Try again, or use the other way."
          : `That did not work: ${error.message}`;
  }
}

async function answerOf(form) {
  const body = new URLSearchParams({ csrf_token: form.querySelector("[name=csrf_token]").value });
  const answer = await fetch(form.dataset.options, {
    method: "POST",
    body,
    headers: { Accept: "application/json" },
  });
  if (!answer.ok || answer.redirected) {
    throw new Error("the server did not answer as it should. Open the page again.");
  }
  const options = await answer.json();
  options.challenge = toBytes(options.challenge);
  for (const one of [...(options.excludeCredentials ?? []), ...(options.allowCredentials ?? [])]) {
    one.id = toBytes(one.id);
  }
  if (form.dataset.passkey === "create") {
    options.user.id = toBytes(options.user.id);
    return made(await navigator.credentials.create({ publicKey: options }));
  }
  return proved(await navigator.credentials.get({ publicKey: options }));
}

function made(credential) {
  const { clientDataJSON, attestationObject } = credential.response;
  return {
    id: credential.id,
    rawId: toText(credential.rawId),
    type: credential.type,
    response: {
      clientDataJSON: toText(clientDataJSON),
      attestationObject: toText(attestationObject),
    },
  };
}

function proved(credential) {
  const { clientDataJSON, authenticatorData, signature, userHandle } = credential.response;
  return {
    id: credential.id,
    rawId: toText(credential.rawId),
    type: credential.type,
    response: {
      clientDataJSON: toText(clientDataJSON),
      authenticatorData: toText(authenticatorData),
      signature: toText(signature),
      userHandle: userHandle ? toText(userHandle) : null,
    },
  };
}
