"""The README's commands give the README's answers: runs each `$ ` line of its console blocks against a demo and compares what is printed.
readme.py BINARY [--write]: with --write the answers in the README are made anew."""
import re
import subprocess
import sys

binary, write = sys.argv[1], '--write' in sys.argv
demo = subprocess.Popen([binary, 'demo', '--listen', '127.0.0.1:0'], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
wrong = ran = 0
try:
    address = demo.stdout.readline().strip().rstrip('/')
    text = open('README.md', encoding='utf-8').read()

    def block(match):
        global wrong, ran
        out = []
        for part in re.split(r'(?m)^(?=\$ )', match.group(1)):
            if not part.startswith('$ '):
                continue
            command, _, expected = part.partition('\n')
            got = subprocess.run(['sh', '-c', command[2:].replace('http://127.0.0.1:8460', address)], capture_output=True, text=True, timeout=30).stdout
            ran += 1
            if got.strip() != expected.strip():
                wrong += 1
                if not write:
                    print(f'not ok {command}\n  README: {expected.strip()}\n  answer: {got.strip()}')
            elif not write:
                print(f'ok {command[:100]}')
            out.append(command + '\n' + got.rstrip('\n') + '\n')
        return '```console\n' + ''.join(out) + '```'

    fresh = re.sub(r'```console\n(.*?)```', block, text, flags=re.S)
    if write:
        open('README.md', 'w', encoding='utf-8').write(fresh)
finally:
    demo.terminate()
    demo.wait()
if not ran:
    print('not ok: the README has no commands')
sys.exit(0 if write or (ran and not wrong) else 1)
