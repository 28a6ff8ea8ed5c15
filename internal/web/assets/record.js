// Recording at the bedside: the microphone, the line to the record, warnings.
// What is sent is kept here until the record says that it is safe on the disk;
// nothing is ever stored in the browser.
"use strict";

const rate = 16000;
const stands = {
	wait: ["…", "Connecting", ""],
	ready: ["○", "Not recording", "The microphone is on; nothing is sent or kept yet."],
	cut: ["○", "Cut off", "What is counted here is safe. Go on with it, or stop and draft."],
	away: ["○", "Cut off", "The window that recorded was closed or lost. What is counted here is safe. Go on with it, or stop and draft."],
	recording: ["●", "Recording", ""],
	paused: ["❚❚", "Paused", "Nothing is sent or kept."],
	off: ["❚❚", "Off the record", "The microphone is off. Nothing is sent or kept."],
	ending: ["…", "Stopped", "All of it is safe. The last words are being heard; the note opens by itself."],
	ended: ["■", "Ended", ""],
	withdrawn: ["■", "Stopped: consent withdrawn", "Nothing more is kept."],
};
const data = () => $("line").dataset;
const windowName = crypto.randomUUID ? crypto.randomUUID() : String(Math.random());
const clockTime = (samples) => {
	const s = Math.floor(samples / rate), m = Math.floor(s / 60);
	return (m >= 60 ? Math.floor(m / 60) + ":" + String(m % 60).padStart(2, "0") : m) + ":" + String(s % 60).padStart(2, "0");
};
const seconds = (samples) => Math.round(samples / rate) + " s";

// Warnings, each by its name; they say what to do, and stay while it is so.
const alarms = new Map();
function alarm(name, text, act) {
	const was = alarms.get(name);
	if ((was && was.text) === (text || undefined)) return;
	if (text) alarms.set(name, { text, act }); else alarms.delete(name);
	const list = $("alarms");
	list.replaceChildren(...Array.from(alarms.values(), (a) => {
		const p = document.createElement("p");
		p.textContent = "! " + a.text + " ";
		if (a.act) {
			const b = document.createElement("button");
			b.textContent = a.act[0];
			b.addEventListener("click", a.act[1]);
			p.append(b);
		}
		return p;
	}));
	document.title = (alarms.size ? "! " : "") + "Record · Bedsaid";
}

// The sound that is not safe yet: chunks in order, the first of which begins at
// sample `from` of the recording (null until the record has said where it stands).
let held = [], from = null, length = 0, sent = 0;
let collecting = false; // what the microphone gives is kept to be sent
let holding = false;  // a question is open: nothing is sent until it is answered
let now = { state: "wait", you: "none", received: 0, safe: 0, views: 0 };
let todo = null;        // the order that the record has not followed yet

function keep(samples) {
	if (!samples.length) return;
	held.push(samples);
	length += samples.length;
}
function letGo(until) { // what is safe need not be kept
	while (held.length && from + held[0].length <= until) {
		from += held[0].length;
		length -= held[0].length;
		held.shift();
	}
}
function forget() { held = []; length = 0; from = null; sent = 0; }

// The line to the record. It is found again when it is lost.
let line = null, lost = 0, again = 0, fresh = false;
function call() {
	clearTimeout(again);
	const l = new WebSocket("ws://" + location.host + data().line);
	l.binaryType = "arraybuffer";
	l.onopen = () => l.send(JSON.stringify({ ticket: data().ticket, window: windowName }));
	l.onmessage = (e) => {
		if (line !== l) { line = l; fresh = true; lost = 0; look(); }
		hear(JSON.parse(e.data));
	};
	l.onclose = () => {
		if (line === l) line = null;
		if (over()) return;
		if (!lost) lost = performance.now();
		again = setTimeout(call, 500);
		look(); // says why, where there is a reason
		show();
	};
}
const over = () => now.go && !(length && now.state === "ended" && now.problem);

function hear(m) {
	const before = now;
	now = m;
	if (m.you === "this" && m.state === "recording") {
		if (from === null) from = m.received;
		if (fresh) { sent = Math.max(m.received, from); fresh = false; }
	} else if (m.state === "recording" || m.state === "paused" || m.state === "off") fresh = false;
	if (from !== null && m.you !== "other") letGo(m.safe);
	if (m.go || todo === m.state && (todo !== "recording" || m.you === "this") || todo === "lost" && m.state === "paused") todo = null;
	if (m.problem && m.state !== "recording" && m.state !== "ending") todo = null; // it was refused
	if (collecting && from !== null && !todo && m.you === "none" && (m.state === "cut" || m.state === "away")) order("recording"); // the server was started anew
	if (m.you === "other" && collecting) silence(); // what is not safe is kept here, and told
	if (m.views !== before.views) look();
	if (m.locked && !before.locked) lock();
	if (m.state === "withdrawn") { silence(); forget(); }
	if (over()) {
		silence();
		forget();
		if (!m.locked) location.assign(m.go);
	}
	pump();
	show();
}

// pump sends what was not sent on this line, and then the order that waits.
function pump() {
	if (!line || line.readyState !== WebSocket.OPEN) return;
	const ours = now.you === "this" && now.state === "recording";
	if (ours && !holding && from !== null && !fresh) {
		let at = from;
		for (const chunk of held) {
			const end = at + chunk.length;
			for (let cut = Math.max(sent, at); cut < end; cut = sent) {
				const part = chunk.subarray(cut - at, Math.min(cut - at + rate, chunk.length)); // a second at most
				const frame = new DataView(new ArrayBuffer(8 + 2 * part.length));
				frame.setBigUint64(0, BigInt(cut), true);
				part.forEach((v, i) => frame.setInt16(8 + 2 * i, v, true));
				line.send(frame.buffer);
				sent = cut + part.length;
			}
			at = end;
		}
	}
	const all = !ours || holding || from === null || sent >= from + length;
	if (todo && all && todo !== asked.on(line)) { line.send(JSON.stringify({ do: orders[todo] })); asked.set(line, todo); }
}
const orders = { recording: "record", paused: "pause", lost: "lost", off: "off", ending: "stop", withdrawn: "withdraw" };
// asked remembers what was ordered on which line, so that it is ordered once.
const asked = { line: null, what: null, on(l) { return this.line === l ? this.what : null; }, set(l, what) { this.line = l; this.what = what; } };
function order(what) { todo = what; asked.set(null, null); pump(); show(); }

// The microphone.
let mic = null, lastBlock = 0, lastSound = 0, lastAny = 0, clippedAt = -1e9;
const hint = 0.25; // seconds that the sound may take on its way: a busy computer loses less
async function listen() {
	if (mic) return true;
	let stream;
	try {
		stream = await navigator.mediaDevices.getUserMedia({ audio: { echoCancellation: false, autoGainControl: false, noiseSuppression: false, channelCount: 1 } });
	} catch (e) {
		alarm("mic", e.name === "NotAllowedError" ? "The browser may not use the microphone. Allow it beside the address, then try again." : "No microphone was found. Plug one in, then try again.", ["Try again", listen]);
		return false;
	}
	if (mic) { for (const t of stream.getTracks()) t.stop(); return true; }
	let ctx = new AudioContext({ sampleRate: rate, latencyHint: hint }), source;
	try {
		source = ctx.createMediaStreamSource(stream);
	} catch { // this browser does not convert: the worklet does
		ctx.close();
		ctx = new AudioContext({ latencyHint: hint });
		source = ctx.createMediaStreamSource(stream);
	}
	await ctx.audioWorklet.addModule("/assets/worklet.js");
	const node = new AudioWorkletNode(ctx, "mouthpiece", { numberOfInputs: 1, numberOfOutputs: 1, channelCount: 1, channelCountMode: "explicit" });
	source.connect(node).connect(ctx.destination); // it gives silence; without it some browsers do not run it
	node.port.onmessage = (e) => block(e.data);
	const track = stream.getAudioTracks()[0];
	track.onended = gone;
	const set = track.getSettings();
	alarm("changed", set.echoCancellation === true || set.autoGainControl === true || set.noiseSuppression === true ? "This browser changes the sound before it gets here (echo, gain or noise processing is on): words may be lost. Switch it off in its settings." : "");
	mic = { ctx, stream, node };
	lastBlock = lastSound = lastAny = performance.now();
	count(0, 0);
	if (ctx.state !== "running") await ctx.resume().catch(() => {});
	alarm("mic", "");
	show();
	return true;
}
// silence switches the microphone off: the browser's own sign goes out.
function silence() {
	collecting = false;
	if (!mic) return;
	for (const t of mic.stream.getTracks()) { t.onended = null; t.stop(); }
	mic.ctx.close();
	mic = null;
	for (const name of ["quiet", "clipping", "mute"]) alarm(name, "");
	show();
}
// gone is a microphone that was unplugged: what it gave is sent, and the
// recording pauses, so that the times of what follows stay right.
function gone() {
	const was = collecting;
	silence();
	alarm("mic", "The microphone is gone" + (was ? ", and nothing is recorded." : ".") + " Plug it in, then try again.", ["Try again", was ? resume : listen]);
	if (was) order("lost");
}
// count compares the sound that came with the clock. A computer that is too busy
// loses sound on its way, and nobody else says so. Blocks may come late and all at
// once, so the least that was missing within two seconds counts; 500 millionths are
// left to clocks that differ.
let since = 0, counted = 0, base = 0, least = 0, round = 0, lostInAll = 0;
function count(t, n) {
	if (!n || !since) { since = t; counted = 0; base = null; least = Infinity; round = t; return; }
	counted += n;
	least = Math.min(least, (t - since) * rate / 1000 - counted);
	if (t - round < 2000) return;
	const drift = (t - round) * rate / 1000 * 0.0005;
	if (base === null || least < base + drift) base = base === null ? least : Math.min(base + drift, least);
	else if (least - base > rate / 2) {
		if (collecting && now.state === "recording" && line && !holding) {
			lostInAll += least - base;
			pump();
			line.send(JSON.stringify({ do: "busy" })); // the log, and the note, say how much
			alarm("busy", "The computer is too busy: about " + seconds(lostInAll) + " of sound were lost. Close other programs; say again what is missing.", ["I know", () => alarm("busy", "")]);
			base = least;
		} else if (!collecting) base = least;
	}
	least = Infinity;
	round = t;
}

let cutThen = null;
function block(b) {
	const t = lastBlock = performance.now();
	count(t, b.samples.length);
	if (collecting) keep(b.samples);
	if (b.cut && cutThen) { const then = cutThen; cutThen = null; collecting = false; then(); return; }
	if (b.cut) return;
	if (b.peak > 2 / 32768) lastAny = t;
	if (b.peak > 0.006) lastSound = t;
	if (b.clipped >= 5) clippedAt = t;
	const db = 20 * Math.log10(b.level + 1e-9);
	$("level").style.setProperty("--part", Math.max(0, Math.min(1, (db + 60) / 54)).toFixed(2));
	const loud = t - clippedAt < 3000;
	const word = loud ? "too loud" : db > -45 ? "heard well" : db > -58 ? "faint" : "quiet";
	if ($("level-word").textContent !== word) $("level-word").textContent = word;
	alarm("clipping", t - clippedAt < 6000 ? "Too loud: words are cut off. Move the microphone away, or turn it down." : "");
	alarm("mute", t - lastAny > 3000 ? "The microphone gives no sound at all. Is it muted, or unplugged?" : "");
	alarm("quiet", t - lastAny <= 3000 && t - lastSound > 30000 && now.state === "recording" ? "Nothing was heard for half a minute. If you spoke, move the microphone closer." : "");
	if (collecting) pump();
}
// upTo does something after all that the microphone gave so far was kept.
function upTo(then) {
	if (!mic || !collecting) { collecting = false; then(); return; }
	cutThen = then;
	mic.node.port.postMessage("cut");
}

// What a hand, a foot or a key does.
let armed = "", armedAt = 0, pressed = -1e9;
async function resume() {
	if (now.you === "other" || !["ready", "cut", "away", "paused", "off"].includes(now.state)) return;
	if (!await listen()) return;
	if (!collecting) {
		if (!length || now.you !== "this") forget();
		collecting = true; // from here on nothing is lost
	}
	order("recording");
}
const pause = (to) => upTo(() => { if (to === "off") silence(); order(to); });
function toggle() {
	const t = performance.now();
	if (t - pressed < 400) return; // a pedal that bounces
	pressed = t;
	if (!$("ask").hidden) return;
	if (collecting && now.state === "recording") pause("paused"); else resume();
}
function off() { if (["recording", "paused"].includes(now.state) && now.you === "this") pause("off"); }
function finish() {
	if (now.you === "other" || !["recording", "paused", "off", "away", "cut"].includes(now.state)) return;
	upTo(() => { silence(); order("ending"); });
}
// ask holds all sound back until it is said whether the consent was withdrawn.
function ask() {
	if (!["ready", "recording", "paused", "off", "away", "cut"].includes(now.state)) return;
	holding = true;
	$("ask").hidden = false;
	$("ask-no").focus();
	show();
}
function answerYes() {
	$("ask").hidden = true;
	silence();
	forget();
	order("withdrawn");
	holding = false;
}
function answerNo() {
	$("ask").hidden = true;
	holding = false;
	pump();
	show();
}
// twice guards what cannot be taken back against one stray key.
function twice(name, does) {
	const t = performance.now();
	if (armed === name && t - armedAt < 4000 && t - armedAt > 250) { armed = ""; does(); } else { armed = name; armedAt = t; }
	show();
}
// The pedal's key is kept in a cookie: it alone outlives the port, which is
// another one each time bedsaid serve is started.
let pedal = (document.cookie.match(/(?:^|; )bedsaid_pedal=([A-Za-z0-9]+)/) || ["", "Space"])[1];
let choosing = false;
const keyName = (code) => code.replace(/^Key|^Digit/, "");
document.addEventListener("keydown", (e) => {
	if (e.repeat || e.ctrlKey || e.metaKey || e.altKey) return;
	if (choosing && e.code && e.key !== "Tab") {
		e.preventDefault();
		choosing = false;
		if (e.key !== "Escape") pedal = e.code;
		document.cookie = "bedsaid_pedal=" + pedal + "; Max-Age=31536000; Path=/; SameSite=Strict";
		$("pedal").textContent = "Use another key";
		show();
		return;
	}
	const typing = e.target.matches("input,textarea,select");
	if (e.code === pedal && !(typing && e.key.length === 1)) {
		if (pedal === "Space" && e.target.matches("button,summary,a") && e.target.id !== "go" && e.target.id !== "off") return; // it presses what has the focus
		e.preventDefault();
		toggle();
		return;
	}
	if (typing) return;
	const key = e.key.toLowerCase();
	if (!$("ask").hidden) {
		if (key === "y") answerYes();
		if (key === "n" || key === "escape") answerNo();
		return;
	}
	if (key === "o") off();
	else if (key === "s") twice("stop", finish);
	else if (key === "h") cover(!covered);
	else if (key === "w") ask();
});
// The pedal's key must not also press the button that has the focus.
document.addEventListener("keyup", (e) => { if (e.code === pedal && (e.target.id === "go" || e.target.id === "off")) e.preventDefault(); });
$("go").addEventListener("click", toggle);
$("off").addEventListener("click", off);
$("stop").addEventListener("click", finish);
$("cover").addEventListener("click", () => cover(!covered));
$("withdrawn").addEventListener("click", ask);
$("ask-yes").addEventListener("click", answerYes);
$("ask-no").addEventListener("click", answerNo);
$("pedal").addEventListener("click", () => { choosing = true; $("pedal").textContent = "Press the pedal now"; });

// The words: asked for whenever more was understood; hidden on request, after a
// time without a touch, and behind the lock.
let covered = false, looking = false, lookAgain = false;
function cover(yes) {
	covered = yes;
	$("cover").firstChild.textContent = covered ? "Show words " : "Hide words ";
	if (covered) $("bedside-now").replaceChildren();
	look();
}
async function look() {
	if (looking) { lookAgain = true; return; }
	looking = true;
	try {
		do {
			lookAgain = false;
			const res = await fetch(data().parts + (covered ? "?hide=1" : ""), { headers: byItself });
			if (res.status === 401) { lock(); break; }
			if (res.ok) {
				const html = await res.text();
				if (!lookAgain && $("locked").hidden) place(html);
				alarm("anew", "");
			} else if (res.status === 403) alarm("anew", "Bedsaid was started anew and does not know this window. Open the link that it printed.");
		} while (lookAgain);
	} catch { /* the line tells that the server is gone */ }
	looking = false;
}
function lock() {
	if (!$("locked").hidden) return;
	$("locked").hidden = false;
	$("bedside-now").replaceChildren();
	show();
}
document.addEventListener("submit", async (e) => {
	if (e.target.id === "unlock") {
		e.preventDefault();
		const body = new URLSearchParams(new FormData(e.target));
		e.target.reset();
		const res = await fetch("/sign-in", { method: "POST", body, redirect: "manual" }).catch(() => null);
		if (!res || res.type !== "opaqueredirect") {
			$("unlock-told").textContent = res ? "The passphrase is wrong. Try again." : "The page does not answer.";
			return;
		}
		$("unlock-told").textContent = "";
		$("locked").hidden = true;
		await look(); // with a ticket of the new signing-in
		if (over()) { location.assign(now.go); return; }
		if (line) line.close(); else call();
	} else if (e.target.getAttribute("action") === "/lock") {
		e.preventDefault(); // leaving the page would end the sound
		await fetch("/lock", { method: "POST", redirect: "manual" }).catch(() => {});
		lock();
	}
});

// save hands over sound that the record did not take, as a file.
function save() {
	const head = new DataView(new ArrayBuffer(44));
	const text = (at, s) => { for (let i = 0; i < 4; i++) head.setUint8(at + i, s.charCodeAt(i)); };
	text(0, "RIFF"); head.setUint32(4, 36 + 2 * length, true); text(8, "WAVE"); text(12, "fmt ");
	head.setUint32(16, 16, true); head.setUint16(20, 1, true); head.setUint16(22, 1, true); head.setUint32(24, rate, true);
	head.setUint32(28, 2 * rate, true); head.setUint16(32, 2, true); head.setUint16(34, 16, true);
	text(36, "data"); head.setUint32(40, 2 * length, true);
	const a = document.createElement("a");
	a.href = URL.createObjectURL(new Blob([head, ...held], { type: "audio/wav" }));
	a.download = "not-in-the-record.wav";
	a.click();
}

// show says how things stand, in a word, a sign and a colour.
let saidState = "";
function show() {
	const ours = now.you === "this";
	const waits = from === null ? 0 : from + length - Math.max(now.safe, from);
	let [sign, word, detail] = stands[now.state] || stands.wait;
	const other = now.you === "other" && !now.go;
	if (other) detail = "Another window records. This one looks on.";
	if (now.state === "recording" && ours && !collecting && todo !== "paused" && todo !== "off" && todo !== "ending") detail = "Waiting for the microphone.";
	const held = !$("ask").hidden && now.state === "recording";
	if (held) [sign, word, detail] = ["❚❚", "Held", "Answer the question: what is said now waits in this window."];
	$("band").dataset.state = !line ? "lost" : held ? "held" : now.state;
	if ($("sign").textContent !== sign) $("sign").textContent = sign;
	$("state").textContent = word;
	const started = !["wait", "ready"].includes(now.state);
	$("length").textContent = started ? clockTime(now.received) : "";
	if (now.state === "recording" && ours && !held) detail = detail || "Safe on the disk: " + clockTime(now.safe);
	if (now.behind > 20) detail += " Words come late: hearing is " + Math.round(now.behind) + " s behind.";
	if (now.deaf && now.state !== "ending") detail += " Words cannot be shown now; the sound is kept and drafted afterwards.";
	if (armed && performance.now() - armedAt < 4000) detail = "Stop and draft? Press S again.";
	$("detail").textContent = detail;
	if (saidState !== word + other) { saidState = word + other; $("told").textContent = word + ". " + (other ? detail : ""); }
	const can = (id, yes) => { $(id).disabled = !yes; };
	const ready = Boolean(line) && !other;
	can("go", ready && ["ready", "cut", "away", "paused", "off", "recording"].includes(now.state));
	const label = { recording: "Pause ", ready: "Record " }[now.state] || "Go on ";
	const key = keyName(pedal);
	if ($("go").dataset.label !== label + key) {
		$("go").dataset.label = label + key;
		$("go").replaceChildren(label, Object.assign(document.createElement("kbd"), { textContent: key }));
	}
	can("off", ready && ours && ["recording", "paused"].includes(now.state));
	can("stop", ready && ["recording", "paused", "off", "away", "cut"].includes(now.state));
	can("withdrawn", Boolean(line) && !now.go);
	$("pedal-key").textContent = key;
	if (!mic) { $("level").style.setProperty("--part", "0"); $("level-word").textContent = "microphone off"; }
	alarm("line", !line && lost && performance.now() - lost > 1200 ? "No connection to the record. " + (waits > 0 ? seconds(waits) + " of sound wait in this window: keep it open. " : "") + "Is bedsaid serve still running?" : "",
		waits > rate && performance.now() - lost > 10000 ? ["Save that sound as a file, in the clear", save] : null);
	alarm("disk", now.problem ? now.problem + (now.hint ? " " + now.hint : "") + (waits > rate ? " " + seconds(waits) + " of sound are not on the disk yet; they are tried again." : "") : "");
	alarm("slow", line && !now.problem && waits > 3 * rate && !holding ? seconds(waits) + " of sound are not on the disk yet." : "");
	alarm("taken", other && length ? "Another window took this recording over." + (waits > 0 ? " " + seconds(waits) + " of sound of this one are not in it." : "") : "",
		waits > 0 ? ["Save that sound as a file, in the clear", save] : null);
	$("locked-why").textContent = now.state === "recording" ? "The recording goes on. Words are hidden." : "Words are hidden. What was recorded is safe.";
}

// Nothing is asked of hands for an hour; words are hidden after a time without a
// touch, in place of the lock.
const hideAfter = Number(document.body.dataset.lock) * 1000;
let touchedAt = performance.now(), aliveAt = touchedAt, missed = 0;
for (const kind of ["keydown", "pointerdown", "pointermove", "wheel"]) addEventListener(kind, () => { touchedAt = performance.now(); }, { passive: true });
setInterval(() => {
	const t = performance.now();
	if (hideAfter && t - touchedAt > hideAfter && !covered) cover(true);
	if (hideAfter && t - aliveAt > hideAfter / 3) { aliveAt = t; fetch("/alive?bedside=1", { method: "POST", headers: byItself }).catch(() => {}); }
	// A page that was held up has its blocks waiting: it is asked several times
	// before the microphone is called gone.
	missed = mic && t - lastBlock > 2000 ? missed + 1 : 0;
	if (missed > 4) {
		if (mic.ctx.state === "running") gone();
		else mic.ctx.resume().catch(() => {});
	}
	show();
}, 250);
addEventListener("beforeunload", (e) => { if (collecting || length) e.preventDefault(); });
addEventListener("pagehide", pump);

call();
listen();
if (navigator.wakeLock) navigator.wakeLock.request("screen").catch(() => {}); // the screen stays on where it may
