// A security key is asked what the page brought from the desk, and its answer goes back in the page's own form.
"use strict";
for (const form of document.querySelectorAll("form[data-key]")) {
  const said = form.querySelector("[role=status]"), answer = form.elements.answer;
  const bytes = (text) => Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (c) => c.charCodeAt(0));
  const letters = (data) => btoa(String.fromCharCode(...new Uint8Array(data))).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
  const known = (list) => (list || []).map((one) => ({ ...one, id: bytes(one.id) }));

  async function ask() {
    const asked = JSON.parse(form.dataset.asked);
    asked.challenge = bytes(asked.challenge);
    if (form.dataset.key === "create") {
      asked.user.id = bytes(asked.user.id);
      asked.excludeCredentials = known(asked.excludeCredentials);
      return navigator.credentials.create({ publicKey: asked });
    }
    asked.allowCredentials = known(asked.allowCredentials);
    return navigator.credentials.get({ publicKey: asked });
  }

  form.addEventListener("submit", async (event) => {
    if (answer.value) return;
    event.preventDefault();
    said.textContent = "Touch the key now.";
    try {
      const made = await ask(), response = {};
      for (const name of ["clientDataJSON", "attestationObject", "authenticatorData", "signature", "userHandle"]) {
        if (made.response[name]) response[name] = letters(made.response[name]);
      }
      answer.value = JSON.stringify({ id: made.id, rawId: letters(made.rawId), type: made.type, response });
      form.submit();
    } catch (error) {
      said.textContent = error.name === "InvalidStateError" ? "That key is yours already." : "No key answered. Try again.";
    }
  });
}
