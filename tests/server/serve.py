# SPDX-License-Identifier: GPL-3.0-or-later
"""How a club is served for real: what is refused, TLS and its renewal, behind a proxy, a socket and a watchdog of a service manager, settings from everywhere. serve.py BIASBOOK"""
import http.client, json, os, re, signal, socket, ssl, subprocess, sys, tempfile, time, warnings

binary = os.path.realpath(sys.argv[1])
folder = tempfile.TemporaryDirectory(prefix='biasbook-serve-')
at = lambda name: os.path.join(folder.name, name)
clean = {k: v for k, v in os.environ.items() if not k.startswith(('BIASBOOK_', 'LISTEN_', 'NOTIFY_', 'WATCHDOG_'))}
key = subprocess.run([binary, 'init', '--db', at('club.db')], capture_output=True, text=True, check=True).stdout.split()[-1]
done = 0


def refused(*args, env={}):
    """Ends by itself with wrong usage; what it said."""
    r = subprocess.run([binary, 'serve', '--db', at('club.db'), *args], capture_output=True, text=True, timeout=30, env={**clean, **env})
    return r.returncode, r.stderr


class Served:
    def __init__(self, *args, env={}, db=True, **more):
        self.log = open(at('log'), 'w+')
        given = ['--db', at('club.db')] if db else []
        self.process = subprocess.Popen([binary, 'serve', *given, *args], stdout=subprocess.PIPE, stderr=self.log, text=True, env={**clean, **env}, **more)
        self.address = self.process.stdout.readline().strip()
        assert self.address, self.said()
        found = re.match(r'https?://(.*):(\d+)/', self.address)
        self.host, self.port = (found[1], int(found[2])) if found else (None, None)

    def said(self):
        return open(at('log')).read()

    def wait_for(self, words):
        for _ in range(300):
            if words in self.said():
                return
            time.sleep(0.02)
        raise AssertionError(f'the log never said {words!r}: {self.said()}')

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.send_signal(signal.SIGTERM)
        status = self.process.wait(30)
        self.log.close()
        assert status == 0, f'ended with {status}: {self.said()}'

    def ask(self, path, method='GET', body=None, headers={}, tls=None, connection=None):
        c = connection or (http.client.HTTPSConnection('127.0.0.1', self.port, context=tls, timeout=30) if tls else http.client.HTTPConnection('127.0.0.1', self.port, timeout=30))
        c.request(method, path, body, {**({'Content-Type': 'application/json'} if body else {}), **headers})
        r = c.getresponse()
        r.body = r.read()
        return r


def certificate(name):
    subprocess.run(['openssl', 'req', '-x509', '-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:prime256v1', '-nodes', '-days', '2', '-subj', '/CN=club.example', '-addext', 'subjectAltName=IP:127.0.0.1',
                    '-keyout', at(name + '.key'), '-out', at(name + '.pem')], check=True, capture_output=True)
    return ssl.create_default_context(cafile=at(name + '.pem'))


def put(name, to):
    for end in ('.pem', '.key'):
        with open(at(name + end), 'rb') as f, open(at(to + end), 'wb') as g:
            g.write(f.read())


def fails(action, kind):
    try:
        action()
    except kind:
        return True
    return False


# ---- the cases ----

def other_machines_need_encryption():
    status, said = refused('--listen', '0.0.0.0:0')
    assert status == 2 and 'other machines' in said and '--plain-http' in said and '--tls-cert' in said, said
    status, said = refused('--listen', '[::]:0')
    assert status == 2 and 'other machines' in said, said
    with Served('--listen', '0.0.0.0:0', '--plain-http') as d:
        assert d.ask('/livez').status == 200
    for args in (['--open', '--listen', '0.0.0.0:0', '--plain-http'], ['--open', '--behind-proxy'], ['--tls-cert', at('x')], ['--trusted-proxy', '10.0.0.1'], ['--tls-cert', 'a', '--tls-key', 'b', '--behind-proxy'],
                 ['--contact', 'steward'], ['--contact', 'http://club.example'], ['--contact', 'mailto:a\nb'], ['--behind-proxy', '--trusted-proxy', '10.0.0']):
        status, said = refused(*args)
        assert status in (1, 2) and said.startswith('biasbook serve: '), (args, said)


def tls_and_its_renewal():
    one, two = certificate('one'), certificate('two')
    put('one', 'now')
    os.chmod(at('now.key'), 0o600)
    with Served('--listen', '127.0.0.1:0', '--tls-cert', at('now.pem'), '--tls-key', at('now.key')) as d:
        assert d.address.startswith('https://'), d.address
        kept = http.client.HTTPSConnection('127.0.0.1', d.port, context=one, timeout=30)
        r = d.ask('/livez', connection=kept)
        assert r.status == 200 and r.getheader('Strict-Transport-Security')
        assert d.ask('/api/model', headers={'Authorization': 'Bearer ' + key}, connection=kept).getheader('Strict-Transport-Security')
        assert d.ask('/', connection=kept).getheader('Strict-Transport-Security')
        assert kept.sock.version() in ('TLSv1.2', 'TLSv1.3')
        # the cookie: RFC 6265, and the prefix that no plain connection can plant
        r = d.ask('/api/session', 'POST', json.dumps({'key': key}), tls=one)
        cookie = r.getheader('Set-Cookie')
        assert re.fullmatch(r'__Host-biasbook=[^;]+; Path=/; Max-Age=\d+; HttpOnly; SameSite=Strict; Secure', cookie), cookie
        assert json.loads(d.ask('/api/session', headers={'Cookie': cookie.split(';')[0]}, tls=one).body)['role'] == 'steward'
        old = ssl.create_default_context(cafile=at('one.pem'))
        with warnings.catch_warnings():
            warnings.simplefilter('ignore')
            old.minimum_version = old.maximum_version = ssl.TLSVersion.TLSv1_1
        old.set_ciphers('ALL:@SECLEVEL=0')
        assert fails(lambda: d.ask('/livez', tls=old), (ssl.SSLError, ConnectionError)), 'TLS 1.1 is not spoken'
        put('two', 'now')
        d.process.send_signal(signal.SIGHUP)
        d.wait_for('reloaded')
        assert d.ask('/livez', tls=two).status == 200
        assert fails(lambda: d.ask('/livez', tls=one), ssl.SSLError), 'the old certificate is gone'
        assert d.ask('/livez', connection=kept).status == 200, 'what was open stays'
        open(at('now.key'), 'w').write('-----BEGIN NONSENSE-----\n')
        d.process.send_signal(signal.SIGHUP)
        d.wait_for('not reloaded')
        assert d.ask('/livez', tls=two).status == 200, 'files of no use change nothing'
        for i in range(20):
            put('one' if i % 2 else 'two', 'now')
            d.process.send_signal(signal.SIGHUP)
            while d.said().count('info reloaded') < i + 2:
                time.sleep(0.01)
            assert d.ask('/livez', tls=one if i % 2 else two).status == 200
        threads = len(os.listdir(f'/proc/{d.process.pid}/task'))
        assert threads < 40, f'{threads} threads after twenty reloads'
    put('one', 'now')
    put('two', 'other')
    for args in ((at('nothing.pem'), at('now.key')), (at('now.pem'), at('nothing.key')), (at('now.pem'), at('other.key')), (at('club.db'), at('now.key'))):
        status, said = refused('--listen', '127.0.0.1:0', '--tls-cert', args[0], '--tls-key', args[1])
        assert status == 1 and 'tls-' in said, said


def behind_a_proxy():
    wrong = {'Authorization': 'Bearer bb1_' + '0' * 43}
    with Served('--listen', '127.0.0.1:0', '--behind-proxy') as d:
        d.ask('/api/model', headers={**wrong, 'X-Forwarded-For': '6.6.6.6, 192.0.2.7'})
        d.wait_for('address=192.0.2.7')
        d.ask('/api/model', headers={**wrong, 'X-Forwarded-For': '2001:db8::7, 127.0.0.9'})
        d.wait_for('address=2001:db8::7')
        d.ask('/api/model', headers={**wrong, 'X-Forwarded-For': 'nonsense'})
        d.wait_for('address=127.0.0.1')
        assert '6.6.6.6' not in d.said() and 'bb1_' not in d.said(), 'what nobody believed, and a key, stay out of the log'
        r = d.ask('/api/session', 'POST', json.dumps({'key': key}), headers={'X-Forwarded-Proto': 'https', 'Host': 'club.example', 'Origin': 'https://club.example'})
        assert r.status == 200 and r.getheader('Set-Cookie').startswith('__Host-biasbook=') and 'Secure' in r.getheader('Set-Cookie')
        r = d.ask('/api/session', 'POST', json.dumps({'key': key}), headers={'X-Forwarded-Proto': 'http'})
        assert r.getheader('Set-Cookie').startswith('biasbook=') and 'Secure' not in r.getheader('Set-Cookie')
    for args in (['--behind-proxy', '--trusted-proxy', '10.0.0.0/8'], []):  # not believed: another proxy was named, or none
        with Served('--listen', '127.0.0.1:0', *args) as d:
            d.ask('/api/model', headers={**wrong, 'X-Forwarded-For': '192.0.2.7'})
            d.wait_for('address=127.0.0.1')
            r = d.ask('/api/session', 'POST', json.dumps({'key': key}), headers={'X-Forwarded-Proto': 'https'})
            assert r.getheader('Set-Cookie').startswith('biasbook='), r.getheader('Set-Cookie')
    # below a path of the proxy's: the page's own references and the daemon's are relative
    with Served('--listen', '127.0.0.1:0', '--open') as d:
        page = d.ask('/').body.decode()
        assert not re.findall(r'(?:href|src|action)="/', page), 'the page refers to the root'
        r = d.ask('/api/stocks/a-tape', 'PUT', json.dumps({'name': 'A tape', 'class': 'type-1'}))
        assert r.status == 201 and r.getheader('Location') == '../../api/stocks/a-tape', r.getheader('Location')
        assert d.ask('/.well-known/security.txt').status == 404, 'no contact, no file'


def socket_of_a_service_manager():
    s = socket.create_server(('127.0.0.1', 0))
    wait = socket.create_connection(s.getsockname())  # a client that came before the daemon
    wait.sendall(b'GET /livez HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n')

    # the pid is known in the child only, so a shell puts it there and becomes the daemon
    args = ['/bin/sh', '-c', 'LISTEN_PID=$$ LISTEN_FDS=$N exec "$@"', 'sh', binary, 'serve', '--db', at('club.db')]
    p = subprocess.Popen(args, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, pass_fds=[3], preexec_fn=lambda: os.dup2(s.fileno(), 3) and None, env={**clean, 'N': '1'})
    assert p.stdout.readline().strip() == f'http://127.0.0.1:{s.getsockname()[1]}/'
    got = b''
    while part := wait.recv(4096):
        got += part
    assert got.startswith(b'HTTP/1.1 200') and got.endswith(b'alive\n'), got
    p.terminate()
    assert p.wait(30) == 0
    # meant for another process, so not taken
    with Served('--listen', '127.0.0.1:0', env={'LISTEN_PID': '1', 'LISTEN_FDS': '1'}) as d:
        assert d.port != s.getsockname()[1]
    # all addresses through the manager's socket need encryption as well
    wide = socket.create_server(('0.0.0.0', 0))
    for listener, n, words in ((wide, '1', 'other machines'), (s, '2', 'one ListenStream')):
        p = subprocess.run(args, capture_output=True, text=True, pass_fds=[3], preexec_fn=lambda: os.dup2(listener.fileno(), 3) and None, env={**clean, 'N': n}, timeout=30)
        assert p.returncode in (1, 2) and words in p.stderr, p.stderr


def signs_of_life():
    for name in (at('notify'), '@biasbook-notify-%d' % os.getpid()):
        n = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        n.bind(name.replace('@', '\0', 1) if name[0] == '@' else name)
        n.settimeout(20)
        with Served('--listen', '127.0.0.1:0', env={'NOTIFY_SOCKET': name, 'WATCHDOG_USEC': '200000'}) as d:
            said = [n.recv(200).decode() for _ in range(4)]
            assert said == ['READY=1', 'WATCHDOG=1', 'WATCHDOG=1', 'WATCHDOG=1'], said
            d.process.send_signal(signal.SIGHUP)
            while (word := n.recv(200).decode()) == 'WATCHDOG=1':
                pass
            assert re.fullmatch(r'RELOADING=1\nMONOTONIC_USEC=\d+', word), word
            assert n.recv(200).decode() == 'READY=1'
        while (word := n.recv(200).decode()) == 'WATCHDOG=1':
            pass
        assert word == 'STOPPING=1', word
        n.close()


def settings_from_everywhere():
    with open(at('settings'), 'w') as f:
        f.write(f'# a club\n\ndb = {at("club.db")}\r\n  listen=127.0.0.1:0\npublic-read = yes\ncontact = mailto:file@club.example\nopen = no\n')
    with Served('--config', at('settings'), db=False) as d:
        assert json.loads(d.ask('/api/session').body) == {'open': False, 'public_read': True, 'member': None, 'role': 'none', 'session': False}
        assert 'mailto:file@' in d.ask('/.well-known/security.txt').body.decode()
    with Served(db=False, env={'BIASBOOK_CONFIG': at('settings'), 'BIASBOOK_CONTACT': 'mailto:env@club.example', 'BIASBOOK_PUBLIC_READ': '0'}) as d:
        assert json.loads(d.ask('/api/session').body)['public_read'] is False
        assert 'mailto:env@' in d.ask('/.well-known/security.txt').body.decode()
    with Served('--config', at('settings'), '--contact', 'https://club.example/s', db=False, env={'BIASBOOK_CONTACT': 'mailto:env@club.example'}) as d:
        assert 'Contact: https://club.example/s' in d.ask('/.well-known/security.txt').body.decode()
    for text, words in (('listn = x', ':1: there is no setting'), ('\nopen', ':2: write'), ('open = perhaps', 'neither yes nor no'), ('db = a\ndb = b', ':2: ')):
        open(at('wrong'), 'w').write(text)
        status, said = refused('--config', at('wrong'))
        assert status == 2 and words in said, said
    open(at('wrong'), 'wb').write(b'\0' * 100)
    assert refused('--config', at('wrong'))[0] == 2
    open(at('wrong'), 'wb').write(b'#' * 70000)
    assert 'larger than' in refused('--config', at('wrong'))[1]
    assert refused('--config', at('nowhere'))[0] == 2
    assert refused(env={'BIASBOOK_OPEN': 'perhaps'})[0] == 2


def what_may_not_be_done_is_told():
    reader = subprocess.run([binary, 'member', 'add', '--db', at('club.db'), '--name', 'A "reader"', '--role', 'reader'], capture_output=True, text=True, check=True).stdout.split()[-1]
    with Served('--listen', '127.0.0.1:0') as d:
        assert d.ask('/api/decks/one', 'PUT', '{}', headers={'Authorization': 'Bearer ' + reader}).status == 403
        d.wait_for(r'warn forbidden member="A \"reader\"" address=127.0.0.1 method=PUT path=/api/decks/one code=role')
        assert d.ask('/api/members/1/keys', headers={'Authorization': 'Bearer ' + reader}).status == 403
        d.wait_for('method=GET path=/api/members/1/keys code="by the action"')
        assert d.ask('/api/session', 'POST', '{}', headers={'Origin': 'https://elsewhere.example'}).status == 403
        d.wait_for('member=nobody address=127.0.0.1 method=POST path=/api/session code=cross-site')


def a_full_disk_is_not_ready():
    small = at('small')
    os.mkdir(small)
    if subprocess.run(['mount', '-t', 'tmpfs', '-o', 'size=6m', 'tmpfs', small], capture_output=True).returncode:
        print('not tried: no small disk could be made here')
        return
    try:
        club = os.path.join(small, 'club.db')
        subprocess.run([binary, 'init', '--db', club], check=True, capture_output=True)
        with Served('--db', club, '--open', '--listen', '127.0.0.1:0', db=False) as d:
            for _ in range(200):
                if d.ask('/readyz').status == 200:
                    break
                time.sleep(0.02)
            filler = os.path.join(small, 'filler')
            f = os.open(filler, os.O_WRONLY | os.O_CREAT)
            assert fails(lambda: [os.write(f, b'x' * 4096) for _ in range(5000)], OSError)
            os.close(f)
            r = d.ask('/readyz')
            assert r.status == 503 and json.loads(r.body)['errors'][0]['code'] == 'disk-full', r.body
            os.remove(filler)
            assert d.ask('/readyz').status == 200, 'and ready again when there is room'
    finally:
        subprocess.run(['umount', '-l', small])


for case in (what_may_not_be_done_is_told, a_full_disk_is_not_ready, other_machines_need_encryption, tls_and_its_renewal, behind_a_proxy, socket_of_a_service_manager, signs_of_life, settings_from_everywhere):
    case()
    print(f'ok {case.__name__}', flush=True)
