import { Router } from 'express';
import { openApiDocument, type OpenApiDocument } from '../api/openapi.ts';
import { listProblems } from '../api/problem.ts';

/** The API's description, for programs (`/openapi.json`) and for people (`/docs`: plain HTML, no script). */
export function documentationRoutes(): Router {
  const router = Router();
  let document: OpenApiDocument | undefined;
  const get = (): OpenApiDocument => (document ??= openApiDocument());

  router.get('/openapi.json', (_req, res) => {
    res.json(get());
  });
  router.get('/docs', (_req, res) => {
    res.type('html').send(documentationPage(get()));
  });
  router.get('/docs.css', (_req, res) => {
    res.type('css').send(STYLE);
  });
  return router;
}

const STYLE = `
:root { color-scheme: light dark; font: 16px/1.5 system-ui, sans-serif; }
body { max-width: 60rem; margin: 2rem auto; padding: 0 1rem; }
pre { overflow: auto; padding: .75rem; border: 1px solid #8888; border-radius: .4rem; font-size: .85rem; }
summary { cursor: pointer; padding: .25rem 0; } code { font-weight: 600; }
table { border-collapse: collapse; } td, th { text-align: left; padding: .2rem .8rem .2rem 0; vertical-align: top; }
`;

function documentationPage(document: OpenApiDocument): string {
  const byTag = new Map<string, string[]>();
  for (const [path, methods] of Object.entries(document.paths)) {
    for (const [method, operation] of Object.entries(methods)) {
      const { tags, summary, parameters, requestBody, responses } = operation as {
        tags: [string];
        summary: string;
        parameters?: unknown;
        requestBody?: unknown;
        responses: unknown;
      };
      const details = {
        ...(parameters ? { parameters } : {}),
        ...(requestBody ? { requestBody } : {}),
        responses,
      };
      const entry =
        `<details><summary><code>${method.toUpperCase()} ${escape(path)}</code> ${escape(summary)}</summary>` +
        `${json(details)}</details>`;
      byTag.set(tags[0], [...(byTag.get(tags[0]) ?? []), entry]);
    }
  }
  const routes = [...byTag].map(([tag, entries]) => `<h2>${escape(tag)}</h2>${entries.join('')}`).join('');
  const problems = listProblems()
    .map(
      ({ code, status, title, hint }) =>
        `<tr id="problem-${escape(code)}"><td><code>${escape(code)}</code></td><td>${status}</td><td>${escape(title)} ${escape(hint ?? '')}</td></tr>`,
    )
    .join('');
  const shapes = Object.entries(document.components.schemas)
    .map(
      ([name, schema]) =>
        `<details id="${escape(name)}"><summary><code>${escape(name)}</code></summary>${json(schema)}</details>`,
    )
    .join('');
  const { title, version, description } = document.info as Record<string, string>;
  return (
    `<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">` +
    `<title>${escape(title!)}: API</title><link rel="stylesheet" href="docs.css"></head><body>` +
    `<h1>${escape(title!)} API ${escape(version!)}</h1><p>${escape(description!)}</p>` +
    `<p><a href="openapi.json">OpenAPI document</a></p>${routes}` +
    `<h2>Problems</h2><table><thead><tr><th>Code</th><th>Status</th><th>Meaning</th></tr></thead><tbody>${problems}</tbody></table>` +
    `<h2>Shapes</h2>${shapes}</body></html>`
  );
}

const json = (value: unknown): string => `<pre tabindex="0">${escape(JSON.stringify(value, null, 2))}</pre>`;

const ENTITIES: Record<string, string> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  "'": '&#39;',
};
const escape = (text: string): string => text.replace(/[&<>"']/g, (character) => ENTITIES[character]!);
