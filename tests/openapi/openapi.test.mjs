// SPDX-License-Identifier: GPL-3.0-or-later
// The OpenAPI document against its own specification; then a whole served club is asked everything, and each answer (status, media type, headers, body) must be in the document.
// At the end each status that an operation documents must have been seen, but for the few named below.
import { test, before, after } from 'node:test';
import assert from 'node:assert/strict';
import { spawn, execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { request } from 'node:http';
import { randomUUID } from 'node:crypto';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Validator } from '@seriousme/openapi-schema-validator';
import Ajv from 'ajv/dist/2020.js';
import formats from 'ajv-formats';

const binary = process.env.BIASBOOK ?? new URL('../../build/biasbook', import.meta.url).pathname;
const demo = new URL('../../seed-data/club.ndjson', import.meta.url).pathname;
const run = (...args) => execFileSync(binary, args, { encoding: 'utf8', stdio: ['ignore', 'pipe', 'ignore'] }).trim().split('\n').pop();

// Not provoked here: 503 needs a daemon that is stopping, starting or full, 429 is tried once below for all, a club without a contact in tests/server/test_serve.c.
const untried = new Set(['503', '429', 'default', 'security_txt 404']);

// These take no parameters, and look at that first.
const bare = new Set(['next_move', 'calibration_get', 'calibration_put', 'calibration_void', 'deck_get', 'deck_put', 'service_put', 'services_list', 'check_put', 'checks_list', 'stock_get', 'stock_put', 'classes', 'model', 'session_get', 'session_end', 'session_open', 'review_verdict', 'member_add', 'member_put', 'key_add']);

let folder, daemon, address, document, ajv;
const keys = {};
const seen = new Map();

before(async () => {
    folder = mkdtempSync(join(tmpdir(), 'biasbook-openapi-'));
    const db = join(folder, 'club.db');
    keys.steward = run('init', '--db', db);
    keys.logger = run('member', 'add', '--db', db, '--name', 'Wilm Tarrow', '--role', 'logger');
    keys.reader = run('member', 'add', '--db', db, '--name', 'Ansa Quill', '--role', 'reader');
    run('import', '--db', db, demo);
    daemon = spawn(binary, ['serve', '--db', db, '--listen', '127.0.0.1:0', '--contact', 'mailto:steward@club.example'], { stdio: ['ignore', 'pipe', 'ignore'] });
    address = await new Promise((resolve, reject) => {
        let said = '';
        daemon.stdout.on('data', (chunk) => { said += chunk; if (said.includes('\n')) resolve(said.trim()); });
        daemon.on('exit', (code) => reject(new Error(`the daemon ended with ${code}`)));
    });
    daemon.removeAllListeners('exit');
});
after(() => new Promise((resolve) => {
    daemon.on('exit', () => { rmSync(folder, { recursive: true }); resolve(); });
    daemon.kill('SIGTERM');
}));

// The path is sent as it stands: wrong ones too.
function send(method, path, { key = 'steward', body, type = 'application/json', headers = {}, declare } = {}) {
    return new Promise((resolve, reject) => {
        const h = { ...headers };
        if (key) h.Authorization = `Bearer ${keys[key] ?? key}`;
        if (body !== undefined) {
            if (type) h['Content-Type'] = type;
            h['Content-Length'] = declare ?? Buffer.byteLength(body);
        }
        const { hostname, port } = new URL(address);
        const r = request({ hostname, port, method, path, headers: h }, (answer) => {
            const parts = [];
            answer.on('data', (p) => parts.push(p));
            answer.on('end', () => resolve({ status: answer.statusCode, headers: answer.headers, text: Buffer.concat(parts).toString() }));
        });
        r.on('error', reject);
        if (declare) r.flushHeaders(); // refused from the head alone
        else r.end(body);
    });
}

const local = (pointer) => pointer.slice(2).split('/').reduce((at, part) => at[part.replaceAll('~1', '/').replaceAll('~0', '~')], document);
const deref = (v) => (v && v.$ref ? local(v.$ref) : v);
const esc = (part) => part.replaceAll('~', '~0').replaceAll('/', '~1');

// Asks, and holds the answer against the document.
async function ask(path_, method, options = {}) {
    const { at = {}, query = '', expect } = options;
    const path = (options.raw ?? path_.replace(/\{(\w+)\}/g, (_, name) => at[name] ?? assert.fail(`no ${name} for ${path_}`))) + query;
    const answer = await send(method.toUpperCase(), path, options);
    const operation = document.paths[path_][method];
    const id = operation.operationId, status = String(answer.status);
    const at_ = `${method} ${path} answered ${status} ${answer.text.slice(0, 400)}`;
    if (expect) assert.equal(answer.status, expect, at_);
    assert.ok(operation.responses[status], `${at_}, which the document does not have`);
    seen.set(`${id} ${status}`, true);
    const where = operation.responses[status].$ref ?? `#/paths/${esc(path_)}/${method}/responses/${status}`;
    const response = deref(operation.responses[status]);
    for (const name of Object.keys(response.headers ?? {}))
        if (name !== 'Link') assert.ok(answer.headers[name.toLowerCase()], `${at_} without ${name}`);
    if (!response.content) {
        assert.equal(answer.text, '', at_);
        return answer;
    }
    const type = answer.headers['content-type'];
    assert.ok(response.content[type], `${at_} as ${type}`);
    if (/[/+]json$/.test(type)) {
        answer.json = JSON.parse(answer.text);
        const check = ajv.getSchema(`doc${where}/content/${esc(type)}/schema`);
        assert.ok(check(answer.json), `${at_}: ${ajv.errorsText(check.errors)}`);
    }
    return answer;
}

test('the document is valid OpenAPI 3.1', async () => {
    document = JSON.parse((await send('GET', '/openapi.json')).text);
    const result = await new Validator().validate(structuredClone(document));
    assert.ok(result.valid, JSON.stringify(result.errors));
    assert.equal(document.openapi.slice(0, 3), '3.1');
    const ids = Object.values(document.paths).flatMap((p) => Object.values(p).map((o) => o.operationId));
    assert.equal(new Set(ids).size, ids.length, 'each operation has its own id');
    ajv = new Ajv({ strict: false, allErrors: true });
    formats(ajv);
    ajv.addSchema(document, 'doc');
});

const U = () => randomUUID();
let D, S, C; // a deck, a stock and a calibration of the club

test('records', async () => {
    D = (await ask('/api/decks', 'get', { query: '?limit=1', expect: 200 })).json.decks[0].id;
    S = (await ask('/api/stocks', 'get', { query: '?limit=1', expect: 200 })).json.stocks[0].id;
    C = (await ask('/api/calibrations', 'get', { query: '?limit=1', expect: 200 })).json.calibrations[0].id;
    await ask('/api/decks', 'get', { expect: 200 });
    await ask('/api/stocks', 'get', { expect: 200 });
    await ask('/api/calibrations', 'get', { query: '?limit=500', expect: 200 });
    await ask('/api/calibrations', 'get', { query: '?deck=nobody-has-it', expect: 404 });
    await ask('/api/calibrations', 'get', { query: '?limit=0', expect: 422 });
    for (const list of ['decks', 'stocks'])
        for (const query of ['?limit=0', '?limit=1&limit=2']) await ask(`/api/${list}`, 'get', { query, expect: 422 });
    await ask('/api/classes', 'get', { expect: 200 });

    const deck = JSON.stringify({ name: 'A deck', medium: 'cassette', bias_dial: { low: -5, high: 5, scale: 'db', db_per_unit: 0.5 }, level_dial: null });
    const stock = JSON.stringify({ name: 'A tape', class: 'type-1' });
    const made_at = '2026-01-05T20:00:00Z';
    const rows = [
        ['/api/decks/{id}', { id: 'a-deck' }, deck, deck.replace('A deck', 'The deck')],
        ['/api/stocks/{id}', { id: 'a-tape' }, stock, stock.replace('A tape', 'The tape')],
        ['/api/calibrations/{uuid}', { uuid: U() }, JSON.stringify({ deck: 'a-deck', stock: 'a-tape', made_at, bias: 1 }), JSON.stringify({ deck: 'a-deck', stock: 'a-tape', made_at, bias: 2 })],
        ['/api/decks/{id}/services/{uuid}', { id: 'a-deck', uuid: U() }, JSON.stringify({ made_at, kind: 'belts', resets: true }), JSON.stringify({ made_at, kind: 'heads-cleaned' })],
        ['/api/decks/{id}/checks/{uuid}', { id: 'a-deck', uuid: U() }, JSON.stringify({ made_at, kind: 'playback', low_db: 0, high_db: -1 }), JSON.stringify({ made_at, kind: 'playback', low_db: 0, high_db: -2 })],
    ];
    for (const [path, at, first, second] of rows) {
        const made = await ask(path, 'put', { at, body: first, expect: 201 });
        await ask(path, 'put', { at, body: first, expect: 200 });
        await ask(path, 'put', { at, body: second, expect: 409 });
        await ask(path, 'put', { at, body: second, headers: { 'If-Match': '"not-that"' }, expect: 412 });
        await ask(path, 'put', { at, body: second, headers: { 'If-Match': made.headers.etag }, expect: 200 });
        await ask(path, 'put', { at, body: JSON.stringify({ ...JSON.parse(first), nonsense: 1 }), expect: 422 });
        // the place it is said to be at is the place that was asked for, wherever the daemon seems to lie
        assert.equal(new URL(made.headers.location, `http://proxy.example/club${path.replace(/\{(\w+)\}/g, (_, n) => at[n])}`).pathname, `/club${path.replace(/\{(\w+)\}/g, (_, n) => at[n])}`);
    }
    const [, at] = rows[2];
    for (const [path, here] of [rows[0], rows[1], rows[2]].map(([p, a]) => [p, a])) {
        const got = await ask(path, 'get', { at: here, expect: 200 });
        await ask(path, 'get', { at: here, headers: { 'If-None-Match': got.headers.etag }, expect: 304 });
        await ask(`${path}/revisions`, 'get', { at: here, expect: 200 });
        const nowhere = { id: 'nobody-has-it', uuid: U() };
        await ask(path, 'get', { at: nowhere, expect: 404 });
        await ask(`${path}/revisions`, 'get', { at: nowhere, expect: 404 });
        await ask(`${path}/revisions`, 'get', { at: here, query: '?nonsense=1', expect: 422 });
    }
    for (const list of ['services', 'checks']) {
        await ask(`/api/decks/{id}/${list}`, 'get', { at: { id: 'a-deck' }, expect: 200 });
        await ask(`/api/decks/{id}/${list}`, 'get', { at: { id: 'nobody-has-it' }, expect: 404 });
    }
    await ask('/api/calibrations/{uuid}/undo', 'post', { at, headers: { 'If-Match': '"not-that"' }, expect: 412 });
    await ask('/api/calibrations/{uuid}/undo', 'post', { at, query: '?nonsense=1', expect: 422 });
    await ask('/api/calibrations/{uuid}/undo', 'post', { at, expect: 200 });
    await ask('/api/calibrations/{uuid}/undo', 'post', { at: { uuid: C }, expect: 409 });
    await ask('/api/calibrations/{uuid}/undo', 'post', { at: { uuid: U() }, expect: 404 });
    const voided = '/api/calibrations/{uuid}/void', reason = JSON.stringify({ reason: 'the wrong deck' });
    await ask(voided, 'post', { at, body: '{}', expect: 422 });
    await ask(voided, 'post', { at, body: reason, headers: { 'If-Match': '"not-that"' }, expect: 412 });
    await ask(voided, 'post', { at, body: reason, expect: 200 });
    await ask(voided, 'post', { at: { uuid: U() }, body: reason, expect: 404 });
    await ask('/api/calibrations/{uuid}', 'get', { at, expect: 200 });
});

test('questions and knowledge', async () => {
    await ask('/api/suggestion', 'get', { query: `?deck=${D}&stock=${S}`, expect: 200 });
    await ask('/api/suggestion', 'get', { query: '?deck=a-deck&class=type-4', expect: 200 });
    await ask('/api/suggestion', 'get', { query: `?deck=nobody-has-it&stock=${S}`, expect: 404 });
    await ask('/api/suggestion', 'get', { query: '?nonsense=1', expect: 422 });
    const { deck: logged, stock: used } = (await ask('/api/calibrations', 'get', { query: '?limit=1', expect: 200 })).json.calibrations[0];
    assert.ok((await ask('/api/last-result', 'get', { query: `?deck=${logged}&stock=${used}`, expect: 200 })).json.calibration);
    assert.equal((await ask('/api/last-result', 'get', { query: '?deck=a-deck&stock=' + used, expect: 200 })).json.calibration, null);
    await ask('/api/last-result', 'get', { query: `?deck=${logged}&stock=nobody-has-it`, expect: 404 });
    await ask('/api/last-result', 'get', { query: `?deck=${logged}`, expect: 422 });
    await ask('/api/next-move', 'post', { body: JSON.stringify({ deck: D, stock: S, plan: 'ladder' }), expect: 200 });
    await ask('/api/next-move', 'post', { body: JSON.stringify({ deck: D, stock: S, moves: [{ bias: 0, level: 0, low_db: 0, high_db: 2 }] }), expect: 200 });
    await ask('/api/next-move', 'post', { body: JSON.stringify({ deck: 'nobody-has-it', stock: S }), expect: 404 });
    await ask('/api/next-move', 'post', { body: '{}', expect: 422 });
    const all = [['/api/model', '', false], ['/api/track-record', '', true], ['/api/coverage', '', true], ['/api/review', '', true], ['/api/decks/{id}/trend', '', true], ['/api/decks/{id}/statistics', '', true],
        ['/api/decks/{id}/hints', '', true], ['/api/decks/{id}/sheet', '', true], ['/api/decks/{id}/centre', `?stocks=${S}`, true], ['/api/stocks/{id}/statistics', '', true], ['/api/stocks/{id}/sheet', '', true],
        ['/api/stocks/{id}/alike', `?deck=${D}`, true], ['/charts/decks/{id}.svg', '', true], ['/charts/stocks/{id}.svg', '', true], ['/charts/track-record.svg', '', true]];
    for (const [path, query, strict] of all) {
        const at = { id: path.includes('/stocks') ? S : D };
        const got = await ask(path, 'get', { at, query, expect: 200 });
        if (got.headers.etag) await ask(path, 'get', { at, query, headers: { 'If-None-Match': got.headers.etag }, expect: 304 });
        if (strict) await ask(path, 'get', { at, query: `${query || '?'}&nonsense=1`, expect: 422 });
        if (path.includes('{')) await ask(path, 'get', { at: { id: 'nobody-has-it' }, query, expect: 404 });
    }
});

test('moving rows', async () => {
    const rows = (await ask('/api/export', 'get', { expect: 200 })).text;
    await ask('/api/export', 'get', { query: '?format=csv', expect: 200 });
    await ask('/api/export', 'get', { query: '?format=parchment', expect: 422 });
    await ask('/api/export', 'get', { query: '?deck=nobody-has-it', expect: 404 });
    assert.equal((await ask('/api/import', 'post', { body: rows, type: 'application/x-ndjson', query: '?dry_run=1', expect: 200 })).json.refused, 0);
    await ask('/api/import', 'post', { body: '{"kind":"deck"}\n', type: 'application/x-ndjson', query: '?separator=dash', expect: 422 });
});

test('members, sessions, history', async () => {
    const who = await ask('/api/session', 'get', { expect: 200 });
    assert.equal(who.json.role, 'steward');
    await ask('/api/session', 'get', { key: null, expect: 200 });
    await ask('/api/session', 'get', { key: `bb1_${'0'.repeat(40)}`, expect: 401 });
    await ask('/api/session', 'post', { key: null, body: JSON.stringify({ key: keys.reader }), expect: 200 });
    await ask('/api/session', 'post', { key: null, body: JSON.stringify({ key: 'bb1_wrong' }), expect: 401 });
    await ask('/api/session', 'post', { key: null, body: '{}', expect: 422 });
    await ask('/api/session', 'post', { key: null, body: JSON.stringify({ key: keys.reader }), headers: { Origin: 'https://elsewhere.example' }, expect: 403 });
    await ask('/api/session', 'delete', { key: null, expect: 204 });
    await ask('/api/session', 'delete', { key: `bb1_${'0'.repeat(40)}`, expect: 401 });
    await ask('/api/session', 'delete', { key: null, headers: { Origin: 'https://elsewhere.example' }, expect: 403 });
    await ask('/api/members', 'get', { expect: 200 });
    await ask('/api/members', 'get', { query: '?nonsense=1', expect: 422 });
    const person = JSON.stringify({ name: 'Berrin Aske', role: 'logger' });
    const id = String((await ask('/api/members', 'post', { body: person, expect: 201 })).json.id);
    await ask('/api/members', 'post', { body: person, expect: 409 });
    await ask('/api/members', 'post', { body: '{}', expect: 422 });
    await ask('/api/members/{id}', 'put', { at: { id }, body: JSON.stringify({ role: 'reader' }), expect: 200 });
    await ask('/api/members/{id}', 'put', { at: { id }, body: JSON.stringify({ name: 'Ansa Quill' }), expect: 409 });
    await ask('/api/members/{id}', 'put', { at: { id: '999' }, body: person, expect: 404 });
    await ask('/api/members/{id}', 'put', { at: { id }, body: '{}', expect: 422 });
    const list = '/api/members/{id}/keys', one = `${list}/{key}`, rotate = `${one}/rotate`;
    const key = String((await ask(list, 'post', { at: { id }, body: '{"name":"phone"}', expect: 201 })).json.id);
    await ask(list, 'post', { at: { id: '999' }, body: '{}', expect: 404 });
    await ask(list, 'post', { at: { id }, body: '{"scope":"everything"}', expect: 422 });
    await ask(list, 'get', { at: { id }, expect: 200 });
    await ask(list, 'get', { at: { id: '999' }, expect: 404 });
    await ask(list, 'get', { at: { id }, query: '?nonsense=1', expect: 422 });
    await ask(list, 'get', { at: { id }, key: 'reader', expect: 403 });
    const next = String((await ask(rotate, 'post', { at: { id, key }, expect: 201 })).json.id);
    await ask(rotate, 'post', { at: { id, key: '999' }, expect: 404 });
    await ask(rotate, 'post', { at: { id, key: next }, query: '?nonsense=1', expect: 422 });
    await ask(rotate, 'post', { at: { id, key: next }, key: 'reader', expect: 403 });
    await ask(one, 'delete', { at: { id, key: next }, key: 'reader', expect: 403 });
    await ask(one, 'delete', { at: { id, key: next }, query: '?nonsense=1', expect: 422 });
    await ask(one, 'delete', { at: { id, key: next }, expect: 204 });
    await ask(one, 'delete', { at: { id, key: '999' }, expect: 404 });
    await ask('/api/journal', 'get', { expect: 200 });
    await ask('/api/journal', 'get', { query: '?nonsense=1', expect: 422 });
    await ask('/api/review/{uuid}', 'post', { at: { uuid: C }, body: '{"verdict":"accept"}', expect: 204 });
    await ask('/api/review/{uuid}', 'post', { at: { uuid: U() }, body: '{"verdict":"accept"}', expect: 404 });
    await ask('/api/review/{uuid}', 'post', { at: { uuid: C }, body: '{}', expect: 422 });
});

test('pages and health', async () => {
    for (const path of ['/livez', '/readyz']) await ask(path, 'get', { key: null, expect: 200 });
    await ask('/metrics', 'get', { expect: 200 });
    const got = await ask('/openapi.json', 'get', { expect: 200 });
    await ask('/openapi.json', 'get', { headers: { 'If-None-Match': got.headers.etag }, expect: 304 });
    await ask('/log', 'get', { expect: 200 });
    const form = { deck: 'a-deck', stock: 'a-tape', made_at: '2026-01-06T20:00:00Z', bias: '1', id: U() };
    const type = 'application/x-www-form-urlencoded';
    await ask('/log', 'post', { body: String(new URLSearchParams(form)), type, expect: 201 });
    await ask('/log', 'post', { body: String(new URLSearchParams(form)), type, expect: 200 });
    await ask('/log', 'post', { body: String(new URLSearchParams({ ...form, id: U(), bias: '99' })), type, expect: 422 });
    const browser = { Accept: 'text/html,application/xhtml+xml;q=0.9,*/*;q=0.8' };
    for (const [path, options] of [['/log', { key: null, expect: 401 }], ['/log', { key: `bb1_${'0'.repeat(40)}`, expect: 401 }], ['/sign-in', { key: null, expect: 200 }]]) {
        const page = await ask(path, 'get', { ...options, headers: browser });
        assert.match(page.headers['content-type'], /^text\/html/);
    }
    await ask('/sign-in', 'get', { expect: 200 });
    await ask('/sign-in', 'get', { query: '?nonsense=1', expect: 422 });
    await ask('/sign-in', 'get', { key: `bb1_${'0'.repeat(40)}`, expect: 401 });
    const signIn = (fields, options) => ask('/sign-in', 'post', { key: null, body: String(new URLSearchParams(fields)), type, headers: browser, ...options });
    assert.equal((await signIn({ key: keys.reader, then: '/log?deck=a-deck' }, { expect: 303 })).headers.location, './log?deck=a-deck');
    assert.match((await signIn({ key: keys.logger, typed: 'deck=a-deck&bias=1' }, { expect: 200 })).text, /name="bias"[^>]*value="1"/);
    await signIn({ key: 'bb1_wrong' }, { expect: 401 });
    await signIn({ key: '' }, { expect: 422 });
    await signIn({ key: keys.reader }, { headers: { ...browser, Origin: 'https://elsewhere.example' }, expect: 403 });
    await ask('/sign-out', 'post', { key: null, body: '', type, expect: 200 });
    await ask('/sign-out', 'post', { key: `bb1_${'0'.repeat(40)}`, body: '', type, expect: 401 });
    await ask('/sign-out', 'post', { key: null, body: '', type, headers: { Origin: 'https://elsewhere.example' }, expect: 403 });
});

test('security.txt says whom to tell and until when (RFC 9116)', async () => {
    const text = (await ask('/.well-known/security.txt', 'get', { key: null, expect: 200 })).text;
    assert.match(text, /^Contact: mailto:steward@club\.example\r?$/m);
    const until = text.match(/^Expires: (\S+)\r?$/gm);
    assert.equal(until.length, 1, 'Expires stands once');
    const days = (new Date(until[0].slice(9).trim()) - Date.now()) / 86400000;
    assert.ok(days > 1 && days < 365, `${days} days`);
});

// What is alike for every operation: no key, wrong key, a smaller role, a broken address, a wrong or too large body.
test('refusals, operation by operation', async () => {
    const at = { id: '1', uuid: U(), key: '1' };
    const below = { logger: 'reader', steward: 'logger' };
    let n = 0;
    for (const [path, item] of Object.entries(document.paths))
        for (const [method, operation] of Object.entries(item)) {
            const types = Object.keys(operation.requestBody?.content ?? {});
            const body = types.length ? { body: '{}', type: types[0] } : {};
            const raw = path.replace(/\{(\w+)\}/g, (_, name) => at[name]);
            await ask(path, method, { raw, query: '?x=%zz', ...body, expect: 400 });
            const role = operation['x-role'];
            if (role) {
                const none = await ask(path, method, { raw, key: null, ...body, expect: 401 });
                assert.match(none.headers['www-authenticate'], /^Bearer /);
            }
            if (below[role]) await ask(path, method, { raw, key: below[role], ...body, expect: 403 });
            // what takes no parameters refuses any by its name
            if (bare.has(operation.operationId)) {
                const odd = await ask(path, method, { raw, query: '?nonsense=1', ...(types.length ? { body: '{}', type: types[0] } : {}), expect: 422 });
                assert.equal(odd.json.errors[0].field, 'nonsense');
            }
            if (types.length) {
                await ask(path, method, { raw, body: 'x', type: 'text/plain', expect: 415 });
                await ask(path, method, { raw, body: '', declare: 5e9, type: types[0], expect: 413 });
            }
            n++;
        }
    assert.ok(n > 50);
});

test('nothing is documented that was not seen', () => {
    const absent = [];
    for (const item of Object.values(document.paths))
        for (const operation of Object.values(item))
            for (const status of Object.keys(operation.responses))
                if (!untried.has(status) && !untried.has(`${operation.operationId} ${status}`) && !seen.has(`${operation.operationId} ${status}`)) absent.push(`${operation.operationId} ${status}`);
    assert.deepEqual(absent, []);
});

test('wrong keys again and again are told to wait (429)', async () => {
    let got;
    for (let i = 0; i < 100 && got?.status !== 429; i++) got = await send('GET', '/api/model', { key: `bb1_${'1'.repeat(40)}` });
    assert.equal(got.status, 429);
    assert.ok(Number(got.headers['retry-after']) > 0);
    assert.equal((await send('GET', '/api/model')).status, 200, 'a right key still answers');
});
