import react from '@vitejs/plugin-react';
import { defineConfig } from 'vite';

/** The page is one static bundle; the server hands it out under a strict content policy, so nothing is inlined. */
export default defineConfig({
  root: import.meta.dirname,
  base: '/',
  plugins: [react()],
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
