// SPDX-License-Identifier: GPL-3.0-or-later
// The few things every page needs to build and find elements. Text always goes in as text, never as markup.

export const find = (selector, root = document) => root.querySelector(selector);
export const all = (selector, root = document) => [...root.querySelectorAll(selector)];

function fill(node, attributes, children) {
    for (const [name, value] of Object.entries(attributes)) {
        if (value === null || value === undefined || value === false) continue;
        if (typeof value === 'function') node.addEventListener(name, value);
        else node.setAttribute(name, value === true ? '' : value);
    }
    node.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
    return node;
}

// make('p', { class: 'note', click: handler }, 'text', node)
export function make(tag, attributes = {}, ...children) {
    return fill(document.createElement(tag), attributes, children);
}

export function draw(tag, attributes = {}, ...children) {
    return fill(document.createElementNS('http://www.w3.org/2000/svg', tag), attributes, children);
}

export function replace(node, ...children) {
    node.replaceChildren(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
}

export function show(node, visible) {
    node.hidden = !visible;
}

// Moves the focus to something that is not a control, so that a screen reader reads on from there.
export function focusOn(node) {
    if (!node.hasAttribute('tabindex')) node.setAttribute('tabindex', '-1');
    node.focus();
    node.scrollIntoView({ block: 'nearest' });
}
