// SPDX-License-Identifier: GPL-3.0-or-later
// The pages as files: small, whole, nothing inline, nobody else's address, relative links only.
import test from 'node:test';
import assert from 'node:assert/strict';
import { gzipSync } from 'node:zlib';
import { readdirSync, readFileSync } from 'node:fs';

const folder = new URL('../../static/', import.meta.url);
const names = readdirSync(folder).filter((name) => name !== 'README.md');
const text = (name) => readFileSync(new URL(name, folder), 'utf8');
const pages = names.filter((name) => name.endsWith('.html'));
const scripts = names.filter((name) => name.endsWith('.js'));

// A page and all that it loads: what its links and imports name, and what those name.
function loads(name, seen = new Set()) {
    if (seen.has(name)) return seen;
    seen.add(name);
    const named = name.endsWith('.html') ? /<(?:link|script)[^>]*\s(?:href|src)="([^"]+)"/g : /from '\.\/([a-z-]+\.js)'/g;
    for (const [, target] of text(name).matchAll(named)) loads(target, seen);
    return seen;
}

test('each page with all that it loads is below 60 kB gzipped', () => {
    for (const page of pages) {
        const size = [...loads(page)].reduce((sum, name) => sum + gzipSync(readFileSync(new URL(name, folder)), { level: 6 }).length, 0);
        assert.ok(size < 60000, `${page}: ${size} bytes`);
    }
});

test('nothing is inline', () => {
    for (const name of pages) {
        const html = text(name);
        assert.doesNotMatch(html, /<style/i, name);
        assert.doesNotMatch(html, /\sstyle\s*=/i, name);
        assert.doesNotMatch(html, /\son[a-z]+\s*=/i, name);
        assert.doesNotMatch(html, /javascript:|data:/i, name);
        for (const script of html.match(/<script[^>]*>/gi) ?? []) assert.match(script, /\ssrc="[a-z-]+\.js"/, name);
    }
    for (const name of scripts) {
        assert.doesNotMatch(text(name), /setAttribute\('style'|\.style\b|innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function/, name);
    }
});

test('no address outside the house', () => {
    for (const name of names) {
        const outside = (text(name).match(/https?:\/\/[^\s"'`)]+/g) ?? []).filter((address) => address !== 'http://www.w3.org/2000/svg');
        assert.deepEqual(outside, [], name);
        assert.doesNotMatch(text(name), /@import|url\(/, name);
    }
});

test('every link and every fetch is relative', () => {
    for (const name of pages)
        for (const [, target] of text(name).matchAll(/\s(?:href|src|action)="([^"]*)"/g)) assert.doesNotMatch(target, /^\/|^[a-z]+:/, `${name}: ${target}`);
    for (const name of scripts) assert.doesNotMatch(text(name), /['"`]\/(api|charts|log)\b/, name);
});

test('what is named is there', () => {
    for (const name of pages)
        for (const [, target] of text(name).matchAll(/\s(?:href|src)="([a-z-]+\.(?:html|js|css|svg))"/g)) assert.ok(names.includes(target), `${name} names ${target}`);
    for (const name of scripts)
        for (const [, target] of text(name).matchAll(/from '\.\/([a-z-]+\.js)'/g)) assert.ok(names.includes(target), `${name} imports ${target}`);
    for (const name of pages) {
        const ids = [...text(name).matchAll(/\sid="([^"]+)"/g)].map(([, id]) => id);
        assert.equal(new Set(ids).size, ids.length, `${name}: an id is there twice`);
        for (const [, id] of text(name).matchAll(/<label[^>]*\sfor="([^"]+)"/g)) assert.ok(ids.includes(id), `${name}: label for ${id}`);
    }
});

test('the offline shelf holds every page and script, and nothing else', () => {
    const listed = [...text('offline.js').match(/const PAGES = \[([^\]]*)\]/)[1].matchAll(/'([^']+)'/g)].map(([, name]) => (name === './' ? 'index.html' : name));
    assert.deepEqual([...listed].sort(), names.filter((name) => name !== 'offline.js').sort());
});

test('every file says its licence', () => {
    for (const name of names.filter((one) => !one.endsWith('.svg'))) assert.match(text(name).split('\n').slice(0, 2).join('\n'), /SPDX-License-Identifier: GPL-3\.0-or-later/, name);
});
