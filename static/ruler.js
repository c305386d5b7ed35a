// SPDX-License-Identifier: GPL-3.0-or-later
// A setting on a ruler in the dial's own marks: the pen stroke is the setting, the bracket under the line is where nine results in ten land.
// Drawn with percentages and without a viewBox, so that the figures keep their size on any screen; attributes only, no style.
import { draw } from './dom.js';
import { decimals, number, place, placeRange, reading, stepOf } from './numbers.js';
import { unitOf } from './fields.js';

const NICE = [1, 2, 5, 10];

// A round distance between marks that leaves at most `most` of them.
export function roundStep(range, most) {
    const rough = range / most;
    const power = 10 ** Math.floor(Math.log10(rough));
    return (NICE.find((n) => n * power >= rough * 0.999) ?? 10) * power;
}

function marks(low, high, step) {
    const list = [];
    for (let i = Math.ceil(low / step - 1e-9); i * step <= high + step * 1e-9; i++) list.push(i * step);
    return list;
}

// what: 'Bias' or 'Record trim'; setting: the API's bias or level; brief: without the words at the ends, where a sentence beside it says them.
export function ruler(what, dial, setting, { brief = false } = {}) {
    const range = dial.high - dial.low;
    const at = (value) => `${(100 * (Math.min(dial.high, Math.max(dial.low, value)) - dial.low) / range).toFixed(2)}%`;
    const labelled = roundStep(range, 6);
    const places = decimals(labelled);
    const fine = Math.max(stepOf(dial), roundStep(range, 40));
    const [low, high] = setting.range90_dial ?? [];
    const ranged = low !== undefined && low !== null;
    const near = (value) => Math.abs(value - setting.dial) < range * 0.11;
    const rises = dial.plus !== 'less';
    const ends = what === 'Bias' ? [['less bias,', 'brighter'], ['more bias,', 'duller']] : [['less gain,', 'quieter'], ['more gain,', 'louder']];
    if (!rises) ends.reverse();
    const sentence = `${what} dial from ${number(dial.low, places)} to ${number(dial.high, places)} ${unitOf(dial)}: set ${place(dial, setting.dial)}${ranged ? `, nine results in ten between ${placeRange(dial, low, high)}` : ''}.`;
    const line = (x1, y1, x2, y2, kind) => draw('line', { x1, y1, x2, y2, class: kind });
    const text = (x, y, kind, anchor, words) => draw('text', { x, y, class: kind, 'text-anchor': anchor }, words);
    return draw('svg', { class: 'ruler', role: 'img', 'aria-label': sentence, width: '100%', height: brief ? '58' : '112', focusable: 'false' },
        draw('svg', { x: '5%', y: brief ? '-8' : '0', width: '90%', height: brief ? '58' : '112', overflow: 'visible' },
            marks(dial.low, dial.high, fine).map((value) => line(at(value), 44, at(value), 50, 'tick')),
            marks(dial.low, dial.high, labelled).map((value) => [
                line(at(value), 38, at(value), 50, 'tick'),
                near(value) ? null : text(at(value), 32, 'figure', 'middle', number(value, places))]).flat(),
            line('0%', 50, '100%', 50, 'edge'),
            ranged ? [line(at(low), 64, at(high), 64, 'bracket'), line(at(low), 56, at(low), 64, 'bracket'), line(at(high), 56, at(high), 64, 'bracket')] : null,
            line(at(setting.dial), 26, at(setting.dial), 58, 'pen'),
            text(at(setting.dial), 20, 'set', 'middle', reading(dial, setting.dial)),
            brief ? null : ends[0].map((words, i) => text('0%', 84 + 18 * i, 'end', 'start', words)), brief ? null : ends[1].map((words, i) => text('100%', 84 + 18 * i, 'end', 'end', words))));
}
