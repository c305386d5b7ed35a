// SPDX-License-Identifier: GPL-3.0-or-later
// What every page has around its own matter: who one is, the key when the club wants one, and what waits on this device to be sent.
import { all, find, make, replace, show } from './dom.js';
import { ask, get } from './api.js';
import { lasting, remember, remembered } from './kept.js';
import { age, count } from './numbers.js';
import { discard, onQueue, sendAll, startQueue, waiting } from './queue.js';

// Calls ready() when the book may be read, again after a key was given.
export async function startPage(ready) {
    for (const node of all('.scripted')) show(node, true);
    addEventListener('key-needed', askForKey);
    addEventListener('key-given', () => { whoAmI(); ready(); });
    onQueue(showWaiting);
    startQueue();
    setInterval(async () => showWaiting(await waiting()), 30000);
    keepPagesOffline();
    if (!(await lasting())) notice('no-storage', make('p', {}, 'This browser keeps nothing for this page (a private window?): without a signal, results are lost when it is closed.'));
    whoAmI();
    return ready();
}

// A panel under the page's head; one a name.
function notice(name, ...children) {
    const id = `notice-${name}`;
    document.getElementById(id)?.remove();
    if (!children.length) return null;
    const panel = make('section', { id, class: 'notice', 'aria-label': { key: 'Key', waiting: 'Waiting to be sent' }[name] ?? 'Notice' }, children);
    find('#notices').append(panel);
    return panel;
}

// ---- who, and the key ----

// A key is traded for a session: a cookie that scripts cannot read, so that the key itself is kept nowhere.
const signIn = (key) => ask('POST', 'api/session', { body: { key } });

async function whoAmI() {
    const place = find('#who');
    let session;
    try {
        if (remembered('key')) await signIn(remembered('key')); // from when keys were kept here
        session = await get('api/session');
        remember('key', null);
    } catch (error) {
        if (error.status === 401) remember('key', null);
        return replace(place, '');
    }
    if (session.open) return replace(place, 'open book, no key needed');
    if (session.member) return replace(place, make('a', { href: 'members.html' }, session.member), `, ${session.role} `, forgetButton());
    replace(place, make('button', { type: 'button', class: 'plain', click: () => askForKey(true) }, 'enter a key'));
    if (!session.public_read) askForKey();
    return null;
}

function forgetButton() {
    return make('button', { type: 'button', class: 'plain', click: async () => {
        await ask('DELETE', 'api/session').catch(() => {});
        whoAmI();
        askForKey();
    } }, 'forget the key');
}

function askForKey(focus = false) {
    if (document.getElementById('notice-key')) return;
    const input = make('input', { id: 'key', type: 'password', autocomplete: 'current-password', autocapitalize: 'none', spellcheck: 'false', 'aria-describedby': 'key-note' });
    const note = make('p', { id: 'key-note' }, 'A steward makes keys; they begin with bb1_. This browser stays signed in for thirty days, or until you press “forget the key”; the key itself is not kept.');
    const panel = notice('key', make('h2', {}, 'This club wants a key'), make('form', { submit: async (event) => {
        event.preventDefault();
        const given = input.value.trim();
        if (!given) return note.replaceChildren('Paste the key a steward gave you.');
        try {
            await signIn(given);
            notice('key');
            dispatchEvent(new CustomEvent('key-given'));
        } catch (error) {
            note.textContent = error.status === 401 ? 'The club does not know this key. Check that all of it was copied, or ask a steward for a new one.' : error.message;
            note.classList.add('wrong');
            input.setAttribute('aria-invalid', 'true');
            input.focus();
        }
    } }, make('div', { class: 'field wide' }, make('label', { for: 'key' }, 'Key'), input, note), make('button', { type: 'submit', class: 'main' }, 'Use this key')));
    if (focus === true) find('input', panel).focus();
}

// ---- what waits ----

let names = (entry) => `${entry.body.stock} on ${entry.body.deck}`;
export function nameEntries(book) {
    const name = (list, id) => list.find((thing) => thing.id === id)?.name ?? id;
    names = (entry) => `${name(book.stocks, entry.body.stock)} on ${name(book.decks, entry.body.deck)}`;
}

function showWaiting(entries) {
    const panel = document.getElementById('notice-waiting');
    if (!entries.length) return notice('waiting');
    if (panel?.contains(document.activeElement) && panel.dataset.shown === JSON.stringify(entries)) return null; // not under somebody's finger
    const open = entries.filter((entry) => entry.state === 'waiting');
    const refused = entries.filter((entry) => entry.state === 'refused');
    const made = notice('waiting',
        open.length ? make('p', {}, make('strong', { id: 'waiting-count' }, `${count(open.length, 'result')} ${open.length === 1 ? 'waits' : 'wait'} on this device`),
            `, the oldest from ${age(open[0].queued_at)}${open.some((entry) => entry.why) ? `: ${open.find((entry) => entry.why).why}` : ''}. `,
            make('button', { type: 'button', click: async (event) => {
                event.target.disabled = true;
                event.target.textContent = 'sending…';
                await sendAll();
                showWaiting(await waiting());
            } }, 'Send now')) : null,
        open.length ? make('ul', {}, open.map((entry) => make('li', {}, `${names(entry)}, ${age(entry.queued_at)}`))) : null,
        refused.length ? make('p', {}, make('strong', {}, `${count(refused.length, 'result')} ${refused.length === 1 ? 'was' : 'were'} refused`), ' and kept here to be mended:') : null,
        refused.length ? make('ul', {}, refused.map(refusedItem)) : null);
    made.dataset.shown = JSON.stringify(entries);
    return made;
}

function refusedItem(entry) {
    return make('li', {}, `${names(entry)}, ${age(entry.queued_at)}: ${entry.why} `,
        make('a', { href: `./#mend-${entry.id}` }, 'Mend it'), ' ',
        make('button', { type: 'button', class: 'plain', click: (event) => {
            if (event.target.dataset.sure) return discard(entry.id);
            event.target.dataset.sure = 'yes';
            event.target.textContent = 'Press again to throw it away';
            return null;
        } }, 'Throw away'));
}

// ---- the pages themselves without signal: browsers allow it only on https or on the same machine ----
function keepPagesOffline() {
    if (window.isSecureContext && 'serviceWorker' in navigator) navigator.serviceWorker.register('offline.js').catch(() => {});
}
