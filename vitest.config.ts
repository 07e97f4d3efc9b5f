import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    include: ['test/**/*.test.ts', 'test/**/*.test.tsx'],
    // Two cores are the smallest machine we promise; image work in more processes only thrashes.
    maxWorkers: 2,
    testTimeout: 240_000,
    hookTimeout: 120_000,
  },
});
