// Passkeys on the pages around the login: what the browser does with them. Without a secure origin, or in a browser without them, what stands in these
// pages for passkeys stays hidden, and the password does as before.
(() => {
  const part = document.getElementById("passkey");
  if (!part || !isSecureContext || !window.PublicKeyCredential) return;
  const bytes = (text) => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (c) => c.charCodeAt(0));
  const text = (raw) => btoa(String.fromCharCode(...new Uint8Array(raw))).replace(/\+/g, "-").replace(/\//g, "_").replace(/=/g, "");
  const says = document.createElement("p");
  says.className = "do";
  const button = part.querySelector("button");
  const known = (list) => (list || []).map((c) => ({ ...c, id: bytes(c.id) }));

  async function send(path, type, body) {
    const got = await fetch(path, { method: "POST", headers: { "Content-Type": type }, body });
    const said = await got.json();
    if (!got.ok) throw new Error(said.says);
    return said;
  }

  const answer = (path, c, response) =>
    send(path, "application/json", JSON.stringify({ id: c.id, rawId: text(c.rawId), type: c.type, clientExtensionResults: c.getClientExtensionResults(), response }));

  async function add() {
    const { publicKey: o } = await send("/passkeys/offer", "application/x-www-form-urlencoded", new URLSearchParams(new FormData(part.querySelector("form"))));
    const c = await navigator.credentials.create({ publicKey: { ...o, challenge: bytes(o.challenge), user: { ...o.user, id: bytes(o.user.id) }, excludeCredentials: known(o.excludeCredentials) } });
    return answer("/passkeys", c, {
      clientDataJSON: text(c.response.clientDataJSON), attestationObject: text(c.response.attestationObject),
      transports: c.response.getTransports ? c.response.getTransports() : [],
    });
  }

  async function login() {
    const { publicKey: o } = await send("/login/passkey/ask", "application/json", "{}");
    const c = await navigator.credentials.get({ publicKey: { ...o, challenge: bytes(o.challenge), allowCredentials: known(o.allowCredentials) } });
    return answer("/login/passkey?to=" + encodeURIComponent(part.dataset.to), c, {
      clientDataJSON: text(c.response.clientDataJSON), authenticatorData: text(c.response.authenticatorData),
      signature: text(c.response.signature), userHandle: c.response.userHandle ? text(c.response.userHandle) : "",
    });
  }

  async function go(e) {
    e.preventDefault();
    says.remove();
    button.disabled = true;
    try {
      location.assign((await (part.dataset.do === "add" ? add() : login())).to);
    } catch (e) { // of the gateway the reason, of the browser what can be said in the person's language
      says.textContent = e instanceof DOMException || e instanceof TypeError ? part.dataset.failed : e.message;
      says.setAttribute("role", "alert");
      part.append(says);
      button.disabled = false;
    }
  }

  const form = part.querySelector("form");
  if (form) form.addEventListener("submit", go);
  else button.addEventListener("click", go);
  part.hidden = false;
})();
