/**
 * How the app is bundled. Decides: what belongs to the small shell that is cached at install.
 *
 * The engine's files (`public/engine`, some 13 MB) are copied as they are and kept out of the shell:
 * one file that fails would fail the whole install, so the page fills a second cache with them.
 */
import { svelte } from "@sveltejs/vite-plugin-svelte";
import { defineConfig } from "vite";
import { VitePWA } from "vite-plugin-pwa";

export default defineConfig({
  plugins: [
    svelte(),
    VitePWA({
      strategies: "injectManifest",
      srcDir: "src",
      filename: "sw.ts",
      // "prompt": a reload by itself could take a half-typed number with it
      registerType: "prompt",
      injectRegister: false,
      includeManifestIcons: false,
      injectManifest: {
        globPatterns: ["**/*.{js,css,html,svg,png,woff2,webmanifest}"],
        globIgnores: ["engine/**"],
      },
      manifest: {
        name: "Second Probe",
        short_name: "Second Probe",
        description: "Read a connector contact by contact, see what explains it, and where to touch next.",
        id: "/",
        start_url: "/",
        scope: "/",
        display: "standalone",
        background_color: "#FBF8F1",
        theme_color: "#FBF8F1",
        icons: [
          { src: "/icon.svg", sizes: "any", type: "image/svg+xml", purpose: "any" },
          ...[192, 512].flatMap((side) => [
            { src: `/icons/icon-${side}.png`, sizes: `${side}x${side}`, type: "image/png", purpose: "any" },
            { src: `/icons/maskable-${side}.png`, sizes: `${side}x${side}`, type: "image/png", purpose: "maskable" },
          ]),
        ],
      },
    }),
  ],
  worker: { format: "es" },
  build: {
    target: "es2022",
    // the security policy allows no data: URLs for scripts or fonts, so nothing is inlined
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
  },
});
