// SPDX-License-Identifier: GPL-3.0-or-later
// Members and their keys. Stewards see all; a member sees and replaces their own keys. A new key is shown once and kept nowhere.
import { find, focusOn, make, replace, show } from './dom.js';
import { ask, get } from './api.js';
import { startPage } from './page.js';

const roles = { reader: 'asks', logger: 'asks and logs', steward: 'steward' };
const scopes = { all: 'whatever the member may', log: 'ask and log', read: 'ask only' };
const day = (time) => (time ? time.slice(0, 10) : 'never');
let session;

function tellProblem(error) {
    const place = find('#problem');
    if (error) replace(place, make('p', {}, error.message));
    show(place, Boolean(error));
    if (error) focusOn(place);
}

function showKey(key, whose) {
    const place = find('#made');
    replace(place, make('p', {}, make('strong', {}, `The new key for ${whose}`)), make('code', { class: 'once' }, key), make('p', {}, 'Copy it now: it is not shown again. Give it to its owner by a way that nobody else reads.'));
    show(place, true);
    focusOn(place);
}

async function change(work) {
    tellProblem(null);
    try {
        await work();
        await list();
    } catch (error) {
        tellProblem(error);
    }
}

// A press that ends something asks once more.
function sure(text, again, work) {
    return make('button', { type: 'button', class: 'plain', click: (event) => {
        if (event.target.dataset.sure) return change(work);
        event.target.dataset.sure = 'yes';
        event.target.textContent = again;
        return null;
    } }, text);
}

function keyItem(member, key) {
    const path = `api/members/${member.id}/keys/${key.id}`;
    const ended = key.state !== 'valid';
    const facts = [scopes[key.scope], `made ${day(key.made_at)}`, `last used ${day(key.last_used_at)}`, key.expires_at && `until ${day(key.expires_at)}`].filter(Boolean).join(', ');
    return make('li', {}, make('span', { class: ended ? 'ended' : null }, `${key.name || 'key without a name'}: ${facts}`), ended ? ` ${key.state}` : [' ',
        sure('Replace', 'Press again to end it and make another', async () => showKey((await ask('POST', `${path}/rotate`)).value.key, member.name)), ' ',
        sure('Revoke', 'Press again to end it', async () => ask('DELETE', path))]);
}

function addKey(member) {
    const name = make('input', { id: `k-name-${member.id}`, type: 'text', maxlength: '80', autocomplete: 'off' });
    const scope = make('select', { id: `k-scope-${member.id}` }, Object.entries(scopes).map(([value, text]) => make('option', { value }, text)));
    const until = make('input', { id: `k-until-${member.id}`, type: 'date' });
    return make('form', { submit: (event) => {
        event.preventDefault();
        change(async () => {
            const body = { name: name.value.trim(), scope: scope.value, ...(until.value && { expires_at: `${until.value}T23:59:59Z` }) };
            showKey((await ask('POST', `api/members/${member.id}/keys`, { body })).value.key, member.name);
        });
    } }, make('div', { class: 'field' }, make('label', { for: name.id }, 'One more key, for'), name), make('div', { class: 'field' }, make('label', { for: scope.id }, 'It may'), scope),
    make('div', { class: 'field' }, make('label', { for: until.id }, 'Until ', make('span', { class: 'unit' }, 'empty: for good')), until), make('div', { class: 'actions' }, make('button', { type: 'submit' }, 'Make a key')));
}

async function keysOf(member, place) {
    const { keys } = await get(`api/members/${member.id}/keys`);
    replace(place, make('ul', {}, keys.map((key) => keyItem(member, key))), session.role === 'steward' ? addKey(member) : null);
}

function memberItem(member) {
    const keys = make('div', {});
    const role = make('select', { 'aria-label': `What ${member.name} may do`, change: () => change(() => ask('PUT', `api/members/${member.id}`, { body: { role: role.value } })) },
        Object.entries(roles).map(([value, text]) => make('option', { value, selected: value === member.role }, text)));
    return make('li', {}, make('h2', {}, member.name), make('div', { class: 'field' }, role),
        make('details', { toggle: (event) => event.target.open && keysOf(member, keys).catch(tellProblem) },
            make('summary', {}, `${member.keys} ${member.keys === 1 ? 'key' : 'keys'}, last used ${day(member.last_used_at)}`), keys));
}

async function list() {
    const place = find('#members');
    if (session.role === 'steward') {
        const { members } = await get('api/members');
        replace(place, session.open ? make('p', { class: 'note' }, 'This book is open: whoever comes is a steward, and keys count once it is served without --open.') : null,
            members.length ? make('ul', { class: 'list' }, members.map(memberItem)) : make('p', {}, 'Nobody yet.'));
        const { entries } = await get('api/journal');
        replace(find('#journal'), entries.length ? make('ul', { class: 'journal' }, entries.map((one) => make('li', {}, `${one.at.slice(0, 16).replace('T', ' ')} UTC: ${one.words}`))) : make('p', {}, 'Nothing yet.'));
    } else if (session.id) {
        const own = make('div', {});
        replace(place, make('p', {}, `${session.member}, ${roles[session.role] ?? session.role}. Your keys:`), own);
        await keysOf({ id: session.id, name: session.member }, own);
    } else {
        replace(place, make('p', { class: 'note' }, 'Members see their own keys here, stewards all. Enter a key first.'));
    }
}

async function ready() {
    try {
        session = await get('api/session');
        show(find('#add'), session.role === 'steward');
        show(find('#log'), session.role === 'steward');
        await list();
    } catch (error) {
        if (error.status !== 401) tellProblem(error);
    }
}

find('#add-form').addEventListener('submit', (event) => {
    event.preventDefault();
    const form = event.target;
    change(async () => {
        const body = { name: form.elements.name.value.trim(), role: form.elements.role.value, ...(form.elements.key_name.value.trim() && { key_name: form.elements.key_name.value.trim() }) };
        const { value } = await ask('POST', 'api/members', { body });
        showKey(value.key.key, value.name);
        form.reset();
    });
});
startPage(ready);
