// The wire to the server, and the words that the parts of the page say to each other.

export const sitting = {
  plan: null, other: null, names: [], // of the files
  saved: 0, drawn: null, sounding: null, remarks: [], // numbers of states; the plan's remarks
  text: null, entries: [], clock: null, // the plan's newest
  connected: false,
};

const root = document.documentElement;
const waiting = new Map(); // what is said while nobody listens: of each kind the newest
const listeners = new Map();
const AGAIN = [200, 500, 1000, 2000]; // milliseconds before the wire is tried again
const KEPT = ["hear", "text", "paper"];

let wire = null;
let tries = 0;
let timer = 0;

export function on(kind, fn) {
  if (!listeners.has(kind)) listeners.set(kind, []);
  listeners.get(kind).push(fn);
}

export function emit(kind, value) {
  for (const fn of listeners.get(kind) ?? []) {
    try {
      fn(value);
    } catch (fault) {
      reportError(fault); // the others hear of it all the same
    }
  }
}

// False where the server does not hear us now. What is true until it is said anew is said as soon as it does.
export function send(message) {
  if (wire?.readyState === WebSocket.OPEN) {
    wire.send(JSON.stringify(message));
    return true;
  }
  if (KEPT.includes(message.do)) waiting.set(message.do, message);
  else emit("told", { words: "the connection to lentando is gone, so nothing was done: it is tried again" });
  return false;
}

// -- the wire

function connect() {
  clearTimeout(timer);
  const address = new URL("wire", location.href);
  address.protocol = "ws:";
  address.hash = address.search = "";
  wire = new WebSocket(address);
  wire.binaryType = "arraybuffer";
  wire.addEventListener("open", opened);
  wire.addEventListener("message", ({ data }) => (typeof data === "string" ? said(JSON.parse(data)) : emit("sound", block(data))));
  wire.addEventListener("close", closed);
}

function opened() {
  tries = 0;
  sitting.connected = true;
  delete root.dataset.lost;
  emit("connected", true);
  for (const message of waiting.values()) wire.send(JSON.stringify(message));
  waiting.clear();
}

function closed() {
  if (sitting.connected) {
    root.dataset.lost = "";
    emit("told", { words: "the connection to lentando is gone; the page tries to find it again" });
  }
  sitting.connected = false;
  emit("connected", false);
  clearTimeout(timer);
  timer = setTimeout(connect, AGAIN[Math.min(tries, AGAIN.length - 1)]);
  tries += 1;
}

// A laptop that wakes, a tab that is looked at again: not to wait any longer.
function awake() {
  if (document.visibilityState === "visible" && wire?.readyState === WebSocket.CLOSED) connect();
}
document.addEventListener("visibilitychange", awake);
addEventListener("online", awake);
addEventListener("pageshow", awake);

// -- what the server says

const HEADER = 16;

function block(buffer) {
  const view = new DataView(buffer);
  const channels = view.getUint16(2, true);
  return {
    reading: view.getUint8(1), channels, number: view.getUint32(4, true), first: view.getUint32(8, true),
    frames: view.getUint32(12, true), count: (buffer.byteLength - HEADER) / 4 / channels, buffer, offset: HEADER,
  };
}

const TAKE = {
  hello(message) {
    Object.assign(sitting, { plan: message.plan, other: message.other, names: message.names, title: message.title });
  },
  saved(message) {
    Object.assign(sitting, { saved: message.number, text: message.text, faults: message.faults });
  },
  clock(message) {
    if (message.reading === 0) sitting.clock = message;
  },
  drawn(message) {
    if (message.reading === 0) Object.assign(sitting, { drawn: message.number, entries: message.entries ?? [] });
  },
  remarks(message) {
    if (message.reading === 0) sitting.remarks = message.remarks;
  },
};

function said(message) {
  TAKE[message.is]?.(message);
  emit(message.is, message);
  if (message.is === "saved") root.dataset.saved = message.number;
  if (message.is === "remarks" && message.reading === 0) root.dataset.remarks = message.remarks.filter((each) => each.stands).length;
}

// The parts of the page that begin with this one have said what they listen to by then.
queueMicrotask(() => (document.readyState === "loading" ? addEventListener("DOMContentLoaded", connect) : connect()));
