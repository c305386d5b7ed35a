// SPDX-License-Identifier: GPL-3.0-or-later
// Results on their way to the book. Each is on this device's disk before it is sent, and leaves only when the book has acknowledged it. The UUID
// is part of the entry, so sending twice (a lost reply, two tabs) is still one row. Entry: { id, body, if_match, queued_at, state, why, errors }
// with state 'waiting' (no answer yet) or 'refused' (the book said no; it stays, with the reason, to be mended).
import { ask, NoSignal } from './api.js';
import { forget, keep, kept, keptAll } from './kept.js';

const AGAIN_MS = 60000; // how often a waiting entry is tried while the page is open
const listeners = new Set();
let sending = null;

export const onQueue = (listener) => listeners.add(listener);
const tell = async () => {
    const entries = await waiting();
    for (const listener of listeners) listener(entries);
};

export async function waiting() {
    return (await keptAll('queue')).sort((a, b) => a.queued_at - b.queued_at);
}

// Keeps the entry and tries once. → { state: 'logged', reply, etag } | { state: 'waiting', why } | { state: 'refused', why, errors }
export async function submit(id, body, ifMatch = null) {
    const known = await kept('queue', id);
    const entry = { id, body, if_match: ifMatch, queued_at: known?.queued_at ?? Date.now(), state: 'waiting', why: '', errors: [] };
    await keep('queue', id, entry);
    if (sending) await sending;
    return attempt(entry);
}

async function attempt(entry) {
    let outcome;
    try {
        const headers = entry.if_match ? { 'if-match': entry.if_match } : {};
        const { value, etag } = await ask('PUT', `api/calibrations/${entry.id}`, { body: entry.body, headers });
        // Mended meanwhile (another tab): what is kept now is not what was sent, so it stays.
        const now = await kept('queue', entry.id);
        if (now && JSON.stringify(now.body) === JSON.stringify(entry.body)) await forget('queue', entry.id);
        outcome = { state: 'logged', reply: value, etag };
    } catch (error) {
        // Without the right key nothing is wrong with the entry itself.
        const later = error instanceof NoSignal || error.status === 401 || error.status === 403;
        outcome = { state: later ? 'waiting' : 'refused', why: error.message, errors: error.errors ?? [], status: error.status ?? 0 };
        if (await kept('queue', entry.id)) await keep('queue', entry.id, { ...entry, state: outcome.state, why: outcome.why, errors: outcome.errors });
    }
    await tell();
    return outcome;
}

// Sends all that waits, oldest first; stops at the first without an answer. Refused ones are left alone.
export function sendAll() {
    sending ??= (async () => {
        let sent = 0;
        for (const entry of await waiting()) {
            if (entry.state !== 'waiting') continue;
            const outcome = await attempt(entry);
            if (outcome.state === 'waiting') break;
            if (outcome.state === 'logged') sent++;
        }
        return sent;
    })().finally(() => { sending = null; });
    return sending;
}

export async function discard(id) {
    await forget('queue', id);
    await tell();
}

export function startQueue() {
    const soon = async () => { if ((await waiting()).some((entry) => entry.state === 'waiting')) await sendAll(); };
    addEventListener('online', soon);
    addEventListener('key-given', soon);
    document.addEventListener('visibilitychange', () => { if (!document.hidden) soon(); });
    setInterval(soon, AGAIN_MS);
    tell();
    soon();
}
