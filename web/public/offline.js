/*
 * Keeps the page itself (not the pieces or photos) in the browser, so that a reload works while the program is
 * stopped: the page then opens at once and says that the program is not answering.
 */
const SHELF = 'page-2';

self.addEventListener('install', (event) => {
  // The page was already here when this file arrived: what it is made of is fetched once more, so that the very
  // first visit is enough.
  event.waitUntil(keepPage().then(() => self.skipWaiting()));
});
self.addEventListener('activate', (event) => {
  event.waitUntil(
    caches
      .keys()
      .then((names) => Promise.all(names.filter((name) => name !== SHELF).map((name) => caches.delete(name))))
      .then(() => self.clients.claim()),
  );
});

self.addEventListener('fetch', (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== 'GET' || url.origin !== self.location.origin || url.pathname.startsWith('/api/'))
    return;
  event.respondWith(answer(request));
});

async function keepPage() {
  const [page, list] = await Promise.all([
    fetch('/', { cache: 'no-cache' }),
    fetch('/parts.json', { cache: 'no-cache' }),
  ]);
  const named = [...(await page.clone().text()).matchAll(/(?:src|href)="(\/[^"]+)"/g)].map(
    (match) => match[1],
  );
  // What is fetched only when it is asked for, such as the maker of PDFs, is kept from the first visit as well.
  const parts = new Set([...named, ...(await list.json())]);
  const shelf = await caches.open(SHELF);
  await Promise.all([shelf.put('/', page), shelf.addAll([...parts])]);
}

/**
 * From the program when it answers, so that a new version is never missed; else what was kept. A page that was open
 * while the program was renewed may ask for parts that only it remembers.
 */
async function answer(request) {
  const shelf = await caches.open(SHELF);
  try {
    const fresh = await fetch(request);
    if (fresh.ok) await shelf.put(request, fresh.clone());
    return fresh.ok ? fresh : ((await shelf.match(request)) ?? fresh);
  } catch (error) {
    const kept = await shelf.match(request);
    if (kept) return kept;
    throw error;
  }
}
