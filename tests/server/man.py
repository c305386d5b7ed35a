# SPDX-License-Identifier: GPL-3.0-or-later
"""The man page names each verb and option that the program has, and none that it has not. man.py BIASBOOK"""
import os, re, subprocess, sys

binary = sys.argv[1]
page = open(os.path.join(os.path.dirname(__file__), '../../docs/biasbook.1'), encoding='utf-8').read().replace('\\-', '-')
sections = {m[1]: m[2] for m in re.finditer(r'(?ms)^\.SS (\w+)\n(.*?)(?=^\.S[SH] )', page)}
verbs = re.findall(r'^  (\w+)  ', subprocess.run([binary], capture_output=True, text=True).stderr, re.M)
wrong = []
if set(verbs) != set(sections):
    wrong.append(f'verbs: the program has {sorted(verbs)}, the page {sorted(sections)}')
for verb in verbs:
    said = set(re.findall(r'--[a-z][a-z0-9-]*', subprocess.run([binary, verb, '--help'], capture_output=True, text=True).stdout))
    told = set(re.findall(r'--[a-z][a-z0-9-]*', sections.get(verb, '')))
    if said != told:
        wrong.append(f'{verb}: only in --help {sorted(said - told)}, only in the page {sorted(told - said)}')
print('\n'.join(f'not ok {w}' for w in wrong) or f'ok {len(verbs)} verbs')
sys.exit(bool(wrong))
