// Builds the page into ../dist, from where the Go program takes it. Names of script and style hold a hash, so that browsers may keep them.
import { build } from "esbuild";
import { copyFile, mkdir, readFile, readdir, rm, writeFile } from "node:fs/promises";
import { basename } from "node:path";
import { brotliCompressSync, gzipSync } from "node:zlib";

const dist = new URL("../dist/", import.meta.url);
await mkdir(dist, { recursive: true });
for (const name of await readdir(dist)) {
  if (name !== ".gitkeep") await rm(new URL(name, dist), { recursive: true });
}

const result = await build({
  absWorkingDir: new URL(".", import.meta.url).pathname,
  entryPoints: { page: "src/main.tsx", style: "src/style.css" },
  entryNames: "[name]-[hash]",
  chunkNames: "[name]-[hash]",
  outdir: "../dist",
  bundle: true,
  format: "esm",
  splitting: true,
  target: ["chrome100", "firefox100", "safari15"], // chosen: phones of about 2018 that still get a browser
  minify: true,
  legalComments: "none", // licences.txt holds them whole
  metafile: true,
  define: { "process.env.NODE_ENV": '"production"' },
  loader: { ".txt": "text" },
  charset: "utf8",
  jsx: "automatic",
  jsxImportSource: "preact",
});

const built = Object.keys(result.metafile.outputs).map((name) => basename(name));
let page = await readFile(new URL("src/index.html", import.meta.url), "utf8");
for (const name of built) page = page.replace(name.replace(/-[A-Z0-9]+\./, "."), name);
// What the first script needs is asked for with it, not after it: a round trip less on a slow link.
const first = Object.entries(result.metafile.outputs).find(([name]) => /\/page-/.test(name));
const needs = first[1].imports.filter((i) => i.kind === "import-statement").map((i) => basename(i.path));
page = page.replace("</head>", needs.map((n) => `<link rel="modulepreload" href="/${n}">\n`).join("") + "</head>");
await writeFile(new URL("index.html", dist), page);
for (const name of ["icon.svg", "manifest.webmanifest"]) await copyFile(new URL(`src/${name}`, import.meta.url), new URL(name, dist));

// The service worker knows all files of the build by name.
const files = [...built, "icon.svg", "manifest.webmanifest"].map((name) => `/${name}`);
await build({
  absWorkingDir: new URL(".", import.meta.url).pathname,
  entryPoints: { sw: "src/sw.ts" },
  outdir: "../dist",
  bundle: true,
  format: "iife",
  target: "es2020",
  minify: true,
  define: { FILES: JSON.stringify(files) },
});

let licences = "The page holds these libraries, each under its own licence.\n";
for (const name of ["preact", "uplot"]) {
  const folder = new URL(`node_modules/${name}/`, import.meta.url);
  licences += `\n${name}\n\n${await readFile(new URL("LICENSE", folder), "utf8")}`;
}
await writeFile(new URL("licences.txt", dist), licences);

// Browsers take Brotli over TLS and gzip everywhere [RFC 7932, RFC 1952]. The program holds the files packed only, but for the page that it writes into.
for (const name of await readdir(dist)) {
  if (name === ".gitkeep") continue;
  const plain = await readFile(new URL(name, dist));
  await writeFile(new URL(`${name}.br`, dist), brotliCompressSync(plain));
  await writeFile(new URL(`${name}.gz`, dist), gzipSync(plain, { level: 9 }));
  if (name !== "index.html") await rm(new URL(name, dist));
}

for (const [name, out] of Object.entries(result.metafile.outputs)) console.log(basename(name), out.bytes, "bytes");
