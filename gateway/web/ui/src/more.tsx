// All pages, each with a line on what it is for.
import { useHere } from "./context";
import { Go } from "./way";

export function MorePage() {
  const { words } = useHere();
  return (
    <main class="lists morepage">
      <h1>{words.more}</h1>
      <ul>
        {words.allPages.map(([path, name, text]) => <li class="row page" key={path}><Go to={path}>{name}</Go><span class="detail">{text}</span></li>)}
      </ul>
    </main>
  );
}
