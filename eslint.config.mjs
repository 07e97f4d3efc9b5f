import js from '@eslint/js';
import prettier from 'eslint-config-prettier';
import tseslint from 'typescript-eslint';

/** Forbids a room from importing the named rooms, so that imports keep pointing one way. */
const mayNotImport = (room, forbidden) => ({
  files: [`${room}/**/*.{ts,tsx}`],
  rules: {
    'no-restricted-imports': [
      'error',
      {
        patterns: forbidden.map((name) => ({
          regex: `^(\\.\\./)+${name}/`,
          message: `${room} must not import ${name}: imports point web → calc; server → vision, calc; never back.`,
        })),
      },
    ],
  },
});

export default tseslint.config(
  { ignores: ['dist', 'node_modules', 'coverage', 'fixtures/samples'] },
  js.configs.recommended,
  ...tseslint.configs.recommended,
  prettier,
  {
    languageOptions: {
      globals: { console: 'readonly', process: 'readonly', URL: 'readonly', Buffer: 'readonly' },
    },
    rules: {
      '@typescript-eslint/no-unused-vars': ['error', { argsIgnorePattern: '^_', varsIgnorePattern: '^_' }],
      'no-undef': 'off', // the compiler checks this, with the right globals
    },
  },
  mayNotImport('calc', ['vision', 'server', 'web', 'fixtures', 'test']),
  mayNotImport('vision', ['calc', 'server', 'web', 'fixtures', 'test']),
  mayNotImport('server', ['web', 'fixtures', 'test']),
  mayNotImport('fixtures', ['calc', 'server', 'web', 'test']),
);
