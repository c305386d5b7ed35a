// SPDX-License-Identifier: GPL-3.0-or-later
// What this device keeps: small choices in localStorage; the queue of results, the book's lists and the last suggestions in IndexedDB.
// Where a browser refuses storage (private windows), everything works from memory, and `lasting()` says so.

const memory = { queue: new Map(), kept: new Map() };
let opened = null;

function open() {
    opened ??= new Promise((resolve) => {
        let request;
        try {
            request = indexedDB.open('biasbook', 1);
        } catch {
            return resolve(null);
        }
        request.onupgradeneeded = () => {
            request.result.createObjectStore('queue');
            request.result.createObjectStore('kept');
        };
        request.onsuccess = () => resolve(request.result);
        request.onerror = request.onblocked = () => resolve(null);
    });
    return opened;
}

export async function lasting() {
    return (await open()) !== null;
}

// One transaction; resolves when it is on disk, not when the request is done.
async function run(store, mode, work) {
    const db = await open();
    if (!db) return work(null, memory[store]);
    return new Promise((resolve, reject) => {
        const transaction = db.transaction(store, mode, { durability: 'strict' });
        const request = work(transaction.objectStore(store), null);
        transaction.oncomplete = () => resolve(request.result);
        transaction.onerror = transaction.onabort = () => reject(transaction.error);
    });
}

export const keep = (store, key, value) => run(store, 'readwrite', (s, m) => (s ? s.put(value, key) : m.set(key, value)));
export const kept = (store, key) => run(store, 'readonly', (s, m) => (s ? s.get(key) : m.get(key)));
export const forget = (store, key) => run(store, 'readwrite', (s, m) => (s ? s.delete(key) : m.delete(key)));
export const keptAll = (store) => run(store, 'readonly', (s, m) => (s ? s.getAll() : [...m.values()]));

// ---- small choices: deck, stock, taste, key ----
const choices = new Map();

export function remember(name, value) {
    choices.set(name, value);
    try {
        if (value === null) localStorage.removeItem(`biasbook.${name}`);
        else localStorage.setItem(`biasbook.${name}`, JSON.stringify(value));
    } catch { /* kept in memory until the page closes */ }
}

export function remembered(name, otherwise = null) {
    try {
        const text = localStorage.getItem(`biasbook.${name}`);
        if (text !== null) return JSON.parse(text);
    } catch { /* storage refused, or not ours */ }
    return choices.get(name) ?? otherwise;
}
