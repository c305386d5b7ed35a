// SPDX-License-Identifier: GPL-3.0-or-later
// The track record: how far off the book was, how often within one dial step, how often inside its range; all, and by what it rested on.
import { find, make, replace } from './dom.js';
import { get } from './api.js';
import { db, drawing, part, table, trouble } from './know.js';
import { count } from './numbers.js';
import { startPage } from './page.js';

// Bias stands in an entry itself, record trim in its `level`.
function one(what, record, of) {
    const row = (name, entry) => [name, String(entry.calibrations), db(entry.median_error_db), part(entry.within_one_step), part(entry.range_coverage)];
    return table(what, ['Rested on', '#Results', '#Half are nearer than', '#Within one dial step', '#Inside the range'],
        [...record.by_kind.map((entry) => row(entry.kind, of(entry))), row('all', of(record))]);
}

async function ready() {
    const place = find('#record');
    try {
        const record = await get('api/track-record');
        if (!record.calibrations) return replace(place, make('p', { class: 'note' }, 'Nothing to compare yet: it is worked out when the book has the results of some days, a little after the last was logged.'));
        return replace(place,
            make('p', { class: 'words' }, make('strong', {}, `Half of all bias suggestions were within ${db(record.median_error_db)}`), make('span', {}, `over ${count(record.calibrations, 'result')}`)),
            one('Bias', record, (entry) => entry), one('Record trim', record, (entry) => entry.level), drawing('charts/track-record.svg'));
    } catch (error) {
        return trouble(place, error);
    }
}
startPage(ready);
