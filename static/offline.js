// SPDX-License-Identifier: GPL-3.0-or-later
// Service worker: keeps the pages for when there is no signal. Always asks the daemon first, so nobody looks at an old page with a signal.
// The API is not kept here; the pages keep the last lists and suggestions themselves.
const SHELF = 'pages-1';
const PAGES = ['./', 'bench.html', 'stock.html', 'deck.html', 'sheet.html', 'track.html', 'enter.html', 'cautions.html', 'club.html', 'members.html', 'review.html', 'style.css', 'know.css', 'club.css', 'icon.svg', 'api.js', 'bench.js',
    'bench-store.js', 'bench-view.js', 'book.js', 'club.js', 'deck.js', 'dom.js', 'enter.js', 'fields.js', 'kept.js', 'know.js', 'log.js', 'members.js', 'numbers.js', 'page.js', 'queue.js', 'review.js', 'ruler.js', 'setting.js',
    'sheet.js', 'start.js', 'stock.js', 'track.js'];

// The first page must be had, else this worker is not installed and the browser goes on as without it; the rest is kept as far as it is there.
async function stock() {
    const shelf = await caches.open(SHELF);
    await shelf.add('./');
    await Promise.allSettled(PAGES.map((name) => shelf.add(name)));
    await skipWaiting();
}
addEventListener('install', (event) => event.waitUntil(stock()));

addEventListener('activate', (event) => {
    event.waitUntil(caches.keys().then((names) => Promise.all(names.filter((name) => name !== SHELF).map((name) => caches.delete(name)))).then(() => clients.claim()));
});

async function page(request) {
    const shelf = await caches.open(SHELF);
    const bare = new URL(request.url);
    bare.search = bare.hash = '';
    try {
        const response = await fetch(request);
        if (response.ok) await shelf.put(bare.href, response.clone());
        return response;
    } catch (error) {
        const kept = await shelf.match(bare.href);
        if (kept) return kept;
        throw error;
    }
}

addEventListener('fetch', (event) => {
    const url = new URL(event.request.url);
    const known = PAGES.some((name) => new URL(name, registration.scope).pathname === url.pathname);
    if (event.request.method === 'GET' && url.origin === location.origin && known) event.respondWith(page(event.request));
});
