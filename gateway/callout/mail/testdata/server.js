// A real mail server for the tests: npm smtp-server, told by its arguments what to refuse. It prints its port, then one line of JSON for each mail.
// Use: node server.js KEY CERT MODE     MODE: starttls, tls, clear, login
'use strict';
const fs = require('fs');
const { SMTPServer } = require('smtp-server');

const [key, cert, mode] = process.argv.slice(2);
const say = (what) => process.stdout.write(JSON.stringify(what) + '\n');
const refuse = (code, text) => Object.assign(new Error(text), { responseCode: code });

const server = new SMTPServer({
  secure: mode === 'tls',
  key: fs.readFileSync(key),
  cert: fs.readFileSync(cert),
  disabledCommands: mode === 'clear' ? ['STARTTLS', 'AUTH'] : [],
  authMethods: mode === 'login' ? ['LOGIN'] : ['PLAIN', 'LOGIN'],
  onAuth(auth, session, done) {
    if (auth.username === 'mill' && auth.password === 'sesame') return done(null, { user: auth.username });
    return done(refuse(535, '5.7.8 Bad login for mill@fern-hollow.example'));
  },
  onRcptTo(address, session, done) {
    if (address.address.startsWith('nobody')) return done(refuse(550, `5.1.1 No such mailbox ${address.address}`));
    if (address.address.startsWith('later')) return done(refuse(451, '4.7.1 Try again later'));
    return done();
  },
  onData(stream, session, done) {
    const parts = [];
    stream.on('data', (part) => parts.push(part));
    stream.on('end', () => {
      say({
        from: session.envelope.mailFrom.address,
        to: session.envelope.rcptTo.map((r) => r.address),
        encrypted: session.secure,
        user: session.user || '',
        greeting: session.hostNameAppearsAs,
        raw: Buffer.concat(parts).toString('base64'),
      });
      done();
    });
  },
});
server.on('error', () => {}); // a client that breaks off is part of the tests
server.listen(0, '127.0.0.1', function () {
  say({ port: this.address().port });
});
process.stdin.on('end', () => process.exit(0)); // ends with the test
process.stdin.resume();
