/** The app's own build with another page as its entry; `--outDir` is given by the tests. */
import { fileURLToPath } from "node:url";

import { mergeConfig } from "vite";

import app from "../vite.config";

export default mergeConfig(app, {
  root: fileURLToPath(new URL("..", import.meta.url)),
  build: {
    emptyOutDir: true,
    rolldownOptions: { input: fileURLToPath(new URL("./index.html", import.meta.url)) },
  },
});
