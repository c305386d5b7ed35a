// SPDX-License-Identifier: GPL-3.0-or-later
// Talks to the daemon. Addresses are relative, so a book behind a proxy on a sub-path works. Three outcomes:
// a reply; Refused (the daemon answered and says no); NoSignal (nobody answered in time, or is too busy: worth another try).
import { remembered } from './kept.js';

const PATIENCE_MS = 15000; // a workshop's wireless is slow; longer only makes people press again

export class Refused extends Error {
    constructor(status, problem) {
        super(problem?.errors?.map((one) => one.detail).join('; ') || problem?.detail || problem?.title || `The book answered ${status}.`);
        this.status = status;
        this.errors = problem?.errors ?? [];
    }
}

export class NoSignal extends Error {
    constructor(message, retryAfterS = 0) {
        super(message);
        this.retryAfterS = retryAfterS;
    }
}

export async function ask(method, path, { body, headers = {} } = {}) {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), PATIENCE_MS);
    const key = remembered('key');
    try {
        const response = await fetch(path, {
            method, signal: stop.signal, cache: 'no-store', credentials: 'same-origin',
            headers: { accept: 'application/json', ...(key && { authorization: `Bearer ${key}` }),
                       ...(body !== undefined && { 'content-type': 'application/json' }), ...headers },
            body: body === undefined ? undefined : JSON.stringify(body),
        });
        const value = await decode(response);
        if (response.ok) return { value, etag: response.headers.get('etag'), status: response.status };
        if (response.status >= 500 || response.status === 429)
            throw new NoSignal(busy(response.status), Number(response.headers.get('retry-after')) || 0);
        if (response.status === 401) dispatchEvent(new CustomEvent('key-needed'));
        throw new Refused(response.status, value);
    } catch (error) {
        if (error instanceof Refused || error instanceof NoSignal) throw error;
        throw new NoSignal(stop.signal.aborted ? 'the book did not answer in time' : 'no connection to the book');
    } finally {
        clearTimeout(timer);
    }
}

async function decode(response) {
    const type = response.headers.get('content-type') ?? '';
    if (type.includes('json')) return response.json();
    return response.text();
}

function busy(status) {
    if (status === 429) return 'the book asks to wait a moment';
    return status === 503 ? 'the book is busy' : 'the book had a fault';
}

export async function get(path, query = {}) {
    const search = new URLSearchParams();
    for (const [name, value] of Object.entries(query))
        if (value !== null && value !== undefined && value !== '') search.set(name, value);
    const tail = search.toString();
    return (await ask('GET', tail ? `${path}?${tail}` : path)).value;
}
