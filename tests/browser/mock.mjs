// SPDX-License-Identifier: GPL-3.0-or-later
// A stand-in for the daemon: serves static/ under the same content policy and answers the API from a few fixtures. Used where a test needs
// replies that the real daemon gives only in trouble (503, a lost reply, a missing key); everything else is tested against the daemon.
import { createServer } from 'node:http';
import { readFile } from 'node:fs/promises';

const folder = new URL('../../static/', import.meta.url);
const types = { html: 'text/html; charset=utf-8', css: 'text/css; charset=utf-8', js: 'text/javascript; charset=utf-8', svg: 'image/svg+xml' };
export const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

const dial = { unit: 'mark', low: -4, high: 4, step: 0.5, zero: 0, plus: 'more', scale: 'db', db_per_unit: 0.4 };
export const decks = [
    { id: 'attic', name: 'Attic deck', medium: 'cassette', heads: 3, bias_dial: dial, level_dial: { ...dial, unit: 'step', low: 0, high: 31, step: 1, zero: 16 },
      low_hz: 315, high_hz: 10000, tone_db: -20, counter: { kind: 'turns', turns_per_count: 2 }, warm_up_minutes: 20, etag: 'd1' },
    { id: 'cellar', name: 'Cellar two-head', medium: 'cassette', heads: 2, bias_dial: { ...dial, plus: 'less', unit: '%', low: 80, high: 120, step: 1, zero: 100, scale: 'percent' }, level_dial: null },
    { id: 'hall', name: 'Hall reel', medium: 'reel', heads: 3, per_channel: true, bias_dial: dial, level_dial: dial,
      setups: [{ id: 'main', speed_mm_s: 190.5, equalisation: '70us' }, { id: 'slow', speed_mm_s: 95.25, equalisation: '90us' }] },
];
export const stocks = [
    { id: 'fern-90', name: 'Fern 90', class: 'type-1', medium: 'cassette', aliases: ['Fern extended'], side_minutes: 45 },
    { id: 'moss-60', name: 'Moss 60', class: 'type-2', medium: 'cassette', side_minutes: 30 },
    { id: 'oak-reel', name: 'Oak long play', class: 'reel-standard', medium: 'reel' },
];
const classes = ['type-1', 'type-2', 'type-3', 'type-4', 'reel-standard', 'reel-high-output', 'reel-extra-output']
    .map((id) => ({ id, name: id.replace('-', ' '), medium: id.startsWith('reel') ? 'reel' : 'cassette', equalisation: id === 'type-1' ? '120us' : '70us' }));

const quantity = (d, reading, db, words) => d ? { dial: reading, unit: d.unit, words, db, se_db: 0.14, range90_db: [db - 0.4, db + 0.4], range90_dial: [reading - 1, reading + 1], beyond_dial: false }
                                              : { dial: null, words: 'no dial: nothing to set', db, se_db: 0.2, range90_db: [db - 0.4, db + 0.4], range90_dial: null, beyond_dial: false };

function suggestion(q) {
    const deck = decks.find((d) => d.id === q.get('deck'));
    if (!deck) return [404, problem(404, 'deck', 'unknown-deck', `the club has no deck '${q.get('deck')}'`)];
    return [200, {
        deck: deck.id, stock: q.get('stock'), treble_db: Number(q.get('treble_db') ?? 0),
        bias: quantity(deck.bias_dial, 1.5, 0.62, 'clockwise 1.5 marks from centre: more bias, duller'),
        level: quantity(deck.level_dial, 15, -0.3, 'one step down from 16: less record gain, quieter'),
        expect: { low_db: 0, high_db: 0 },
        basis: { kind: 'this pair', pair: 3, deck: 41, stock: 22, club: 612, members: 9 },
        parts: [{ name: 'class', bias_db: 0.2, level_db: -0.3 }, { name: 'stock', bias_db: 0.3, level_db: 0.1 }, { name: 'deck', bias_db: 0.12, level_db: -0.1 }],
        cautions: q.get('position_s') && Number(q.get('position_s')) < 30 ? [{ code: 'start-of-tape', text: 'The first half minute of a tape wavers: wind on before reading.' }] : [],
        model: { as_of: 612, fitted_at: '2026-01-05T10:00:00Z' },
    }];
}

function nextMove(body) {
    const deck = decks.find((d) => d.id === body.deck);
    const last = body.moves.at(-1);
    const settled = !!last && Math.abs(last.low_db) <= 0.5 && Math.abs(last.high_db) <= 1;
    const bias = settled ? last.bias : last ? Math.min(4, (last.bias ?? 0) + Math.round((last.high_db - last.low_db) / 1.7 / 0.4 * 2) / 2) : 1.5;
    return [200, {
        bias: { dial: bias, db: bias * 0.4, words: settled ? 'leave it' : 'clockwise 1 mark: more bias, duller' },
        level: deck.level_dial ? { dial: settled ? last.level : 15, db: -0.3, words: 'leave it' } : null,
        expect: { low_db: 0, high_db: 0.1 }, settled, chance_right: settled ? 0.93 : 0.4,
        reason: settled ? 'both tones are inside the tolerance' : 'the high tone is too bright',
        ladder: body.plan === 'ladder' ? [0, 1, 2].map((i) => ({ bias: 98 + i * 2, level: null, low_db: 0, high_db: 0, chance_right: 0.4 })) : undefined,
    }];
}

export function problem(status, field, code, detail) {
    return { type: 'about:blank', title: 'Not accepted', status, errors: [{ field, code, detail }] };
}

// trouble(request) may answer [status, body, headers] itself, return 'drop' to take a row and break the reply off, or null.
export async function startMock({ key = null, trouble = () => null } = {}) {
    const rows = new Map();
    const seen = [];
    const server = createServer(async (request, response) => {
        const url = new URL(request.url, 'http://mock');
        let text = '';
        for await (const part of request) text += part;
        const body = text && request.headers['content-type']?.startsWith('application/json') ? JSON.parse(text) : null;
        seen.push({ method: request.method, path: url.pathname, search: url.search, body, headers: request.headers });
        const send = (status, value, headers = {}) => {
            response.writeHead(status, { 'content-type': status >= 400 ? 'application/problem+json' : 'application/json', 'cache-control': 'no-store', ...headers });
            response.end(JSON.stringify(value));
        };
        if (!url.pathname.startsWith('/api/')) {
            const name = url.pathname === '/' ? 'index.html' : url.pathname.slice(1);
            try {
                const data = await readFile(new URL(name, folder));
                response.writeHead(200, { 'content-type': types[name.split('.').pop()] ?? 'application/octet-stream', 'content-security-policy': policy });
                return response.end(data);
            } catch {
                return send(404, problem(404, '', 'not-found', 'no such page'));
            }
        }
        const asked = trouble({ method: request.method, path: url.pathname, body, headers: request.headers });
        if (Array.isArray(asked)) return send(...asked);
        const authorised = !key || request.headers.authorization === `Bearer ${key}` || /biasbook=bs1_mock/.test(request.headers.cookie ?? '');
        if (url.pathname === '/api/session' && request.method === 'POST')
            return !key || body?.key === key ? send(200, { member: 'Mira', role: 'steward', open: !key }, { 'set-cookie': 'biasbook=bs1_mock; Path=/; HttpOnly; SameSite=Strict' })
                                             : send(401, problem(401, 'key', 'wrong-key', 'this key is not known here'));
        if (url.pathname === '/api/session' && request.method === 'DELETE')
            return send(200, {}, { 'set-cookie': 'biasbook=; Path=/; Max-Age=0; HttpOnly; SameSite=Strict' });
        if (url.pathname === '/api/session')
            return send(200, authorised ? { member: key ? 'Mira' : null, role: 'steward', open: !key } : { member: null, role: 'none', open: false });
        if (!authorised) return send(401, problem(401, '', 'no-key', 'a key is needed'));
        if (url.pathname === '/api/decks') return send(200, { decks });
        if (url.pathname === '/api/stocks') return send(200, { stocks });
        if (url.pathname === '/api/classes') return send(200, { classes });
        if (url.pathname === '/api/suggestion') return send(...suggestion(url.searchParams));
        if (url.pathname === '/api/next-move') return send(...nextMove(body));
        const put = url.pathname.match(/^\/api\/calibrations\/([0-9a-f-]{36})$/);
        if (put && request.method === 'PUT') {
            const known = rows.has(put[1]);
            rows.set(put[1], body);
            if (asked === 'drop') { // the row is taken, but the reply breaks off in the middle
                response.writeHead(201, { 'content-type': 'application/json', 'content-length': '90' });
                response.write('{"id":');
                return setTimeout(() => request.socket.destroy(), 20);
            }
            return send(known ? 200 : 201, { id: put[1], seq: 612 + rows.size, revision: 1, outcome: known ? 'same' : 'created' }, { etag: '"r1"' });
        }
        return send(404, problem(404, '', 'not-found', 'no such route'));
    });
    await new Promise((resolve) => server.listen(0, '127.0.0.1', resolve));
    return { address: `http://127.0.0.1:${server.address().port}/`, rows, seen, stop: () => { server.closeAllConnections(); server.close(); } };
}

if (process.argv[1] === new URL(import.meta.url).pathname)
    console.log((await startMock({ key: process.argv[2] ?? null })).address);
