// Bundles the workbench's browser code into the package, where the web application serves it.
// A module that is imported with `await import(...)` becomes a file of its own and loads when it is needed.
import { rmSync } from "node:fs";
import { context } from "esbuild";

const outdir = new URL("../src/halfsplit/workbench/static/dist", import.meta.url).pathname;
rmSync(outdir, { recursive: true, force: true });

const bundle = await context({
  absWorkingDir: import.meta.dirname ?? new URL(".", import.meta.url).pathname,
  entryPoints: ["src/main.ts", "src/viewer.css", "src/worker.ts"],
  outdir,
  bundle: true,
  splitting: true,
  format: "esm",
  target: "es2022",
  minify: true,
  sourcemap: true,
  legalComments: "linked",
  logLevel: "info",
});

if (process.argv.includes("--watch")) {
  await bundle.watch();
} else {
  await bundle.rebuild();
  await bundle.dispose();
}
