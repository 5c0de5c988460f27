import { vitePreprocess } from "@sveltejs/vite-plugin-svelte";

/** Runes everywhere; TypeScript in `<script lang="ts">`. */
export default {
  preprocess: vitePreprocess(),
  compilerOptions: { runes: true },
};
