#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Lines and branches reached, by room, then the files with most branches left. coverage.py SUMMARY (gcovr's --json-summary)"""
import json, sys
from collections import defaultdict

files = json.load(open(sys.argv[1], encoding='utf-8'))['files']
rooms = defaultdict(lambda: [0, 0, 0, 0])
for f in files:
    parts = f['filename'].split('/')
    for room in (parts[1] if len(parts) > 2 else '.', 'all'):
        for i, n in enumerate((f['line_covered'], f['line_total'], f['branch_covered'], f['branch_total'])):
            rooms[room][i] += n


def share(part, whole):
    return f'{100 * part / whole:6.1f} %' if whole else '     –  '


print('room          lines  branches   of')
for room, (lines, all_lines, branches, all_branches) in sorted(rooms.items(), key=lambda r: (r[0] == 'all', r[0])):
    print(f'{room:9} {share(lines, all_lines)}  {share(branches, all_branches)}  {all_branches}')
print('\nmost branches left:')
for f in sorted(files, key=lambda f: f['branch_covered'] - f['branch_total'])[:25]:
    print(f"{f['branch_total'] - f['branch_covered']:5} of {f['branch_total']:4}  {f['filename']}")
