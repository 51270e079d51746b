// @ts-check
/**
 * A minimal host for SCORM packages, as strict as the standard: what is called out of order, or set to what the standard
 * does not allow, is noted as a fault.
 */
import assert from "node:assert/strict";
import { createServer } from "node:http";

/** Files of an archive in which nothing is packed. @param {Buffer} zip */
export function unzipped(zip) {
  const end = zip.lastIndexOf("PK\x05\x06", undefined, "latin1");
  assert.notEqual(end, -1, "no archive");
  /** @type {Map<string, Buffer>} */
  const files = new Map();
  let at = zip.readUInt32LE(end + 16);
  for (let left = zip.readUInt16LE(end + 10); left > 0; left -= 1) {
    assert.equal(zip.readUInt16LE(at + 10), 0, "packed");
    const [size, name, extra, comment] = [zip.readUInt32LE(at + 24), zip.readUInt16LE(at + 28), zip.readUInt16LE(at + 30), zip.readUInt16LE(at + 32)];
    const local = zip.readUInt32LE(at + 42);
    const begin = local + 30 + zip.readUInt16LE(local + 26) + zip.readUInt16LE(local + 28);
    files.set(zip.toString("utf8", at + 46, at + 46 + name), zip.subarray(begin, begin + size));
    at += 46 + name + extra + comment;
  }
  return files;
}

/** What may be set, and to what. */
const ELEMENTS = {
  "SCORM 1.2": {
    "cmi.core.lesson_status": "^(passed|completed|failed|incomplete|browsed)$",
    "cmi.core.score.raw": "^(100|\\d{1,2}(\\.\\d+)?)$",
    "cmi.core.score.min": "^(100|\\d{1,2}(\\.\\d+)?)$",
    "cmi.core.score.max": "^(100|\\d{1,2}(\\.\\d+)?)$",
    "cmi.core.exit": "^(time-out|suspend|logout|)$",
    "cmi.core.session_time": "^\\d{2,4}:\\d\\d:\\d\\d(\\.\\d{1,2})?$",
  },
  "SCORM 2004": {
    "cmi.completion_status": "^(completed|incomplete|not attempted|unknown)$",
    "cmi.success_status": "^(passed|failed|unknown)$",
    "cmi.score.raw": "^-?\\d+(\\.\\d{1,7})?$",
    "cmi.score.min": "^-?\\d+(\\.\\d{1,7})?$",
    "cmi.score.max": "^-?\\d+(\\.\\d{1,7})?$",
    "cmi.score.scaled": "^-?(1(\\.0+)?|0(\\.\\d{1,7})?)$",
    "cmi.exit": "^(time-out|suspend|logout|normal|)$",
    "cmi.session_time": "^PT(\\d+H)?(\\d+M)?(\\d+(\\.\\d{1,2})?S)?$",
  },
};

/** Runs in the host's page. @param {string} edition @param {Record<string, string>} elements */
function run(edition, elements) {
  const told = { state: "new", faults: /** @type {string[]} */ ([]), values: /** @type {Record<string, string>} */ ({}), commits: 0 };
  /** @type {any} */ (globalThis).told = told;
  const old = edition === "SCORM 1.2";
  /** @param {boolean} right @param {string} fault */
  const must = (right, fault) => {
    if (!right) told.faults.push(fault);
    return String(right);
  };
  const api = {
    start: (/** @type {string} */ text) => {
      const right = must(text === "" && told.state === "new", "started twice, or with a value");
      told.state = "running";
      return right;
    },
    end: (/** @type {string} */ text) => {
      const right = must(text === "" && told.state === "running", "ended when it was not running");
      told.state = "ended";
      return right;
    },
    get: (/** @type {string} */ name) => {
      must(told.state === "running" && name in elements, `asked for ${name} when ${told.state}`);
      return told.values[name] ?? "";
    },
    set: (/** @type {string} */ name, /** @type {unknown} */ value) => {
      const fits = typeof value === "string" && name in elements && new RegExp(elements[name]).test(value);
      const right = must(fits && told.state === "running", `set ${name} to ${JSON.stringify(value)} when ${told.state}`);
      told.values[name] = String(value);
      return right;
    },
    commit: (/** @type {string} */ text) => {
      told.commits += 1;
      return must(text === "" && told.state === "running", "committed when it was not running");
    },
  };
  const none = () => "0";
  Object.assign(globalThis, old
    ? { API: { LMSInitialize: api.start, LMSFinish: api.end, LMSGetValue: api.get, LMSSetValue: api.set, LMSCommit: api.commit, LMSGetLastError: none, LMSGetErrorString: none, LMSGetDiagnostic: none } }
    : { API_1484_11: { Initialize: api.start, Terminate: api.end, GetValue: api.get, SetValue: api.set, Commit: api.commit, GetLastError: none, GetErrorString: none, GetDiagnostic: none } });
}

/**
 * Serves a package as a learning-management system does: in a frame within a frame of the page that has the interface.
 * @param {string} edition @param {Map<string, Buffer>} files
 */
export async function host(edition, files) {
  const elements = JSON.stringify(/** @type {Record<string, object>} */ (ELEMENTS)[edition]);
  const frame = (/** @type {string} */ name, /** @type {string} */ address) =>
    `<iframe name="${name}" id="${name}" src="${address}" style="border:0;width:100%;height:715px" allow="autoplay"></iframe>`;
  /** @type {Record<string, string>} */
  const own = {
    "/": `<!DOCTYPE html><body style="margin:0"><script>(${run})(${JSON.stringify(edition)}, ${elements})</script>${frame("outer", "/outer")}`,
    "/outer": `<!DOCTYPE html><body style="margin:0">${frame("sco", "/package/index.html")}`,
  };
  const server = createServer((request, response) => {
    const path = (request.url ?? "").split("?")[0];
    const body = own[path] ?? files.get(path.replace("/package/", ""));
    response.writeHead(body === undefined ? 404 : 200, { "content-type": "text/html; charset=utf-8" });
    response.end(body);
  });
  await new Promise((resolve) => server.listen(0, "127.0.0.1", () => resolve(undefined)));
  const address = server.address();
  assert.ok(address && typeof address === "object");
  return { address: `http://127.0.0.1:${address.port}/`, close: () => server.close() };
}
