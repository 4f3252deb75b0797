// Reads one push request as JSON on its input, as the push service and the telephone would get it, and says what they make of it:
// http_ece decrypts the body, node's own crypto verifies the token.
const crypto = require("node:crypto");
const ece = require("http_ece");

const given = JSON.parse(require("node:fs").readFileSync(0, "utf8"));
const telephone = crypto.createECDH("prime256v1");
telephone.setPrivateKey(Buffer.from(given.private, "base64"));
const text = ece.decrypt(Buffer.from(given.body, "base64"), { version: "aes128gcm", privateKey: telephone, authSecret: given.auth });

const raw = Buffer.from(given.key, "base64url");
const key = crypto.createPublicKey({ format: "jwk", key: { kty: "EC", crv: "P-256", x: raw.subarray(1, 33).toString("base64url"), y: raw.subarray(33).toString("base64url") } });
const [head, claims, signature] = given.token.split(".");
const holds = crypto.verify("sha256", Buffer.from(`${head}.${claims}`), { key, dsaEncoding: "ieee-p1363" }, Buffer.from(signature, "base64url"));

process.stdout.write(JSON.stringify({
  text: text.toString("utf8"), holds,
  head: JSON.parse(Buffer.from(head, "base64url").toString()), claims: JSON.parse(Buffer.from(claims, "base64url").toString()),
}));
