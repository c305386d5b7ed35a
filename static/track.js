// SPDX-License-Identifier: GPL-3.0-or-later
// The track record: how far off the book was, how often within one dial step, how often inside its range; all, and by what it rested on.
import { find, make, replace } from './dom.js';
import { ask, get } from './api.js';
import { count, number } from './numbers.js';
import { startPage } from './page.js';

const both = (value) => (value !== null && typeof value === 'object' ? value : { bias: value });
const decibel = (value) => (value === null || value === undefined ? 'not known yet' : `${number(value, 2)} dB`);
const part = (value) => (value === null || value === undefined ? 'not known yet' : `${number(100 * value, 0)} of 100`);

function row(name, entry) {
    const cells = (value, write) => ['bias', 'level'].map((response) => make('td', {}, write(both(value)[response])));
    return make('tr', {}, make('th', { scope: 'row' }, name), make('td', {}, String(entry.calibrations ?? '')), cells(entry.median_error_db, decibel), cells(entry.within_one_step, part), cells(entry.range_coverage, part));
}

function table(record) {
    const head = (text, columns) => make('th', { scope: 'col', colspan: columns }, text);
    return make('table', {}, make('caption', { class: 'small' }, 'By what the suggestion rested on'),
        make('thead', {},
            make('tr', {}, head('Rested on'), head('Results'), head('Half are nearer than', 2), head('Within one dial step', 2), head('Inside the range', 2)),
            make('tr', {}, make('td', { colspan: 2 }), ['Bias', 'Record trim', 'Bias', 'Record trim', 'Bias', 'Record trim'].map((text) => head(text)))),
        make('tbody', {}, (record.by_kind ?? []).map((entry) => row(entry.kind, entry))),
        make('tfoot', {}, row('all', record)));
}

async function chart() {
    try {
        const { value } = await ask('GET', 'charts/track-record.svg', { headers: { accept: 'image/svg+xml' } });
        const drawing = new DOMParser().parseFromString(value, 'image/svg+xml').documentElement;
        if (drawing.localName === 'svg') replace(find('#chart'), document.importNode(drawing, true));
    } catch { /* the table says the same */ }
}

async function ready() {
    const place = find('#record');
    try {
        const record = await get('api/track-record');
        if (!record.calibrations) return replace(place, make('p', { class: 'note' }, 'Nothing to compare yet: the record begins with the second day of results.'));
        const { bias } = both(record.median_error_db);
        replace(place, make('p', { class: 'words' }, make('strong', {}, `Half of all bias suggestions were within ${decibel(bias)}`),
            make('span', {}, `over ${count(record.calibrations, 'result')}`)), make('div', { class: 'scroll', tabindex: '0', role: 'region', 'aria-label': 'Track record table' }, table(record)));
        return chart();
    } catch (error) {
        if (error.status !== 401) replace(place, make('p', { class: 'problem' }, `The track record cannot be read: ${error.message}.`));
        return undefined;
    }
}
startPage(ready);
