// Who is logged in, and the way out.
import { useHere } from "./context";
import { forgetLast } from "./last";
import { begins } from "./say";
import { me } from "./session";
import { login } from "./words/login";

export function Session() {
  const { words } = useHere();
  const own = login(words.language);
  return (
    <form class="choices" method="post" action="/logout" onSubmit={forgetLast}>
      <span>{words.youAre(begins(me.title))}</span>
      <button>{own.logout}</button>
      <a href="/password">{own.password}</a>
      {isSecureContext && "PublicKeyCredential" in window && <a href="/passkeys">{own.passkeys}</a>}
      {me.may.includes("manage") && <a href="/people">{own.people}</a>}
    </form>
  );
}
