import react from '@vitejs/plugin-react';
import { defineConfig, type Plugin } from 'vite';

/** Writes down all files that the page may come to ask for, so that they can be kept for when it is offline. */
const listParts: Plugin = {
  name: 'list-parts',
  generateBundle(_options, bundle) {
    const parts = Object.keys(bundle).filter((name) => name.startsWith('assets/'));
    this.emitFile({
      type: 'asset',
      fileName: 'parts.json',
      source: JSON.stringify(parts.map((name) => `/${name}`)),
    });
  },
};

/** The page is one static bundle; the server hands it out under a strict content policy, so nothing is inlined. */
export default defineConfig({
  root: import.meta.dirname,
  base: '/',
  plugins: [react(), listParts],
  build: {
    outDir: '../dist/web',
    emptyOutDir: true,
    assetsInlineLimit: 0,
    target: 'es2022',
    modulePreload: { polyfill: false },
    chunkSizeWarningLimit: 700,
    rolldownOptions: {
      // `calc` is pure functions behind one index: said here, what only the checks need travels with the checks.
      treeshake: { moduleSideEffects: [{ test: /[\\/]calc[\\/][^\\/]+\.ts$/, sideEffects: false }] },
    },
  },
  server: { proxy: { '/api': 'http://127.0.0.1:4870' } },
});
