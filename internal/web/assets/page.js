// What the page does beyond links and forms, which work without it: parts are
// put in place instead of whole pages, keys do what buttons do, sound is
// replayed, and the page locks. Nothing here decides anything about a note.
"use strict";

const part = { "X-Bedsaid-Part": "1" };
const byItself = { "X-Bedsaid-Part": "by-itself" };
const $ = (id) => document.getElementById(id);

// place puts elements where those with their ids are.
function place(html) {
	const fresh = new DOMParser().parseFromString(html, "text/html").body;
	for (const el of Array.from(fresh.children)) {
		const old = el.id && $(el.id);
		if (old) old.replaceWith(el);
	}
	const bar = $("bar");
	if (bar) for (const f of document.querySelectorAll("input[name=after]")) f.value = bar.dataset.after;
	watchLines();
}

async function answer(res, focus) {
	if (res.status === 401) { location.reload(); return; } // locked
	const go = res.headers.get("X-Bedsaid-Go");
	if (go) {
		const at = new URL(go, location).searchParams.get("at");
		location.replace(go + (at ? "#item-" + at : ""));
		return;
	}
	if (!(res.headers.get("Content-Type") || "").startsWith("text/html")) {
		location.reload();
		return;
	}
	place(await res.text());
	if (focus) focusOpen();
}

// A key that was meant for the line before must not decide the next one: a line
// takes no decision by key in its first moments.
let opened = 0;
const ready = () => performance.now() - opened > 500;

function focusOpen() {
	opened = performance.now();
	const choice = document.querySelector(".proposals button");
	const line = document.querySelector(".item.at .row");
	const el = choice || line;
	if (!el) return;
	el.focus({ preventScroll: true });
	const box = (el.closest(".item") || el).getBoundingClientRect();
	if (box.top < 90 || box.bottom > innerHeight) (el.closest(".item") || el).scrollIntoView({ block: box.height > innerHeight - 120 ? "start" : "nearest" });
}

const openId = () => { const el = document.querySelector(".item.at"); return el ? el.dataset.item : ""; };

async function open(id) {
	const was = openId();
	if (!id || id === was) return;
	stop();
	await answer(await fetch(location.pathname + "?at=" + encodeURIComponent(id) + "&from=" + encodeURIComponent(was), { headers: part }), true);
	history.replaceState(null, "", "?at=" + encodeURIComponent(id));
}

let sending = false;
async function send(form, button) {
	if (sending) return; // a key held down must not decide twice
	sending = true;
	try {
		stop();
		const body = new URLSearchParams(new FormData(form, button));
		await answer(await fetch(form.action, { method: "POST", headers: part, body }), true);
	} catch {
		$("soon").textContent = "The page does not answer. Is bedsaid serve still running? Nothing is lost.";
		$("soon").hidden = false;
	} finally {
		sending = false;
	}
}

document.addEventListener("submit", (e) => {
	if (e.target.hasAttribute("data-part")) {
		e.preventDefault();
		send(e.target, e.submitter);
	} else if (e.target.hasAttribute("data-drop")) {
		e.preventDefault();
		upload(e.target);
	}
});

document.addEventListener("click", (e) => {
	const el = e.target.closest("[data-open],[data-reveal],[data-sound],[data-print],.strip .words [data-start]");
	if (!el || e.ctrlKey || e.metaKey || e.shiftKey) return;
	if (el.dataset.open) { e.preventDefault(); open(el.dataset.open); }
	else if (el.dataset.reveal) reveal(el.dataset.reveal);
	else if (el.dataset.sound) play(el, parseFloat(el.dataset.from));
	else if ("print" in el.dataset) print();
	else {
		const button = el.closest(".strip").querySelector("[data-sound]");
		if (button) play(button, parseFloat(el.dataset.start));
	}
});

function reveal(id) {
	const form = $(id);
	form.hidden = false;
	form.querySelector("input:not([type=hidden])").focus();
}

// Sound of the open line. A second press stops it.
let playing = null;
function play(button, at) {
	const player = $("player");
	if (playing === button && !player.paused && at === parseFloat(button.dataset.from)) { stop(); return; }
	stop();
	playing = button;
	const base = parseFloat(button.dataset.from);
	player.src = button.dataset.sound;
	player.currentTime = 0;
	player.onloadedmetadata = () => { player.currentTime = Math.max(0, at - base - (at > base ? 0.1 : 0)); };
	player.ontimeupdate = () => {
		const t = base + player.currentTime;
		for (const w of button.parentElement.querySelectorAll("[data-start]")) w.classList.toggle("now", t >= w.dataset.start && t < w.dataset.end);
	};
	player.onended = stop;
	player.play().catch(() => stop());
}
function stop() {
	const player = $("player");
	if (player && !player.paused) player.pause();
	for (const w of document.querySelectorAll(".now")) w.classList.remove("now");
	playing = null;
}

// Keys do what the buttons do that name them, while nobody types.
let lastEscape = 0;
document.addEventListener("keydown", (e) => {
	if (e.key === "Escape") {
		if (e.timeStamp - lastEscape < 700 && document.querySelector("[data-lock-now]")) document.querySelector("[data-lock-now]").click();
		lastEscape = e.timeStamp;
		const typed = document.activeElement;
		if (typed && typed.matches("input,textarea")) focusOpen();
		return;
	}
	if (e.ctrlKey || e.metaKey || e.altKey || e.target.matches("input,textarea,select")) return;
	const key = e.key.toLowerCase();
	if (key === "h" && document.querySelector("[data-hide]")) { document.querySelector("[data-hide]").click(); return; }
	if (!document.querySelector(".review-work")) return;
	const at = document.querySelector(".item.at");
	const button = at && at.querySelector(`[data-key="${CSS.escape(key)}"]`);
	if (key === " " && !e.target.matches("button,summary")) {
		const sound = at && at.querySelector("[data-sound]");
		if (sound) { e.preventDefault(); play(sound, parseFloat(sound.dataset.from)); }
	} else if (key === "j") open($("bar").dataset.next);
	else if (key === "z") { const f = document.querySelector("[data-undo]"); if (f && !e.repeat) { e.preventDefault(); send(f, f.querySelector("button")); } }
	else if (key === "+") { e.preventDefault(); document.querySelector("#add input[name=typed]").focus(); }
	else if (key === "arrowdown" || key === "arrowup") {
		const all = Array.from(document.querySelectorAll(".item"));
		const next = all[all.indexOf(at) + (key === "arrowdown" ? 1 : -1)];
		if (next) { e.preventDefault(); open(next.dataset.item); }
	} else if (button && !e.repeat && ready()) { e.preventDefault(); button.click(); }
});

// A region is accepted only after each of its lines was on the screen for a
// moment: the button waits until then, and says how many are left.
const seen = new Set();
const pending = new Map();
// What lies below the bar is not on the screen.
const barHeight = $("bar") && getComputedStyle($("bar")).position === "sticky" ? $("bar").offsetHeight : 0;
const watcher = new IntersectionObserver((entries) => {
	for (const e of entries) {
		const id = e.target.dataset.item;
		clearTimeout(pending.get(id));
		if (e.isIntersecting) pending.set(id, setTimeout(() => { seen.add(id); updateFeet(); }, 400));
	}
}, { threshold: 0.99, rootMargin: `-${barHeight}px 0px 0px 0px` });
function watchLines() {
	watcher.disconnect();
	for (const el of document.querySelectorAll("[data-plain]")) watcher.observe(el);
	updateFeet();
}
function updateFeet() {
	for (const form of document.querySelectorAll("[data-region]")) {
		const left = Array.from(form.querySelectorAll("input[name=line]")).filter((i) => !seen.has(i.value)).length;
		form.querySelector("[data-seen]").disabled = left > 0;
		const note = form.querySelector("[data-unseen]");
		note.hidden = left === 0;
		note.querySelector("b").textContent = left;
	}
}

// A file that is dropped or chosen, with how much of it is in.
function upload(form) {
	const bar = form.querySelector("progress");
	bar.hidden = false;
	form.querySelector("button").disabled = true;
	const x = new XMLHttpRequest();
	x.open("POST", form.action);
	x.upload.onprogress = (e) => { if (e.lengthComputable) bar.value = e.loaded / e.total; };
	x.onload = () => {
		if (x.status < 300) location.replace(x.responseURL);
		else document.querySelector("main").replaceWith(new DOMParser().parseFromString(x.responseText, "text/html").querySelector("main"));
	};
	x.onerror = () => location.reload();
	x.send(new FormData(form));
}
for (const kind of ["dragover", "dragleave", "drop"]) document.addEventListener(kind, (e) => {
	e.preventDefault(); // a file that misses must not take the page's place
	const area = e.target.closest && e.target.closest(".drop");
	if (!area) return;
	area.classList.toggle("over", kind === "dragover");
	if (kind === "drop") area.querySelector("input").files = e.dataTransfer.files;
});

// What changes by itself is asked for again.
setInterval(async () => {
	const el = document.querySelector("[data-poll]");
	if (!el || document.hidden) return;
	try {
		const res = await fetch(el.dataset.poll, { headers: byItself });
		if (res.status === 401) { location.reload(); return; }
		const html = await res.text();
		if (res.ok && html !== el.dataset.was) { place(html); const now = $(el.id); if (now) now.dataset.was = html; }
	} catch { /* the server is gone; the next try tells */ }
}, 1000);

// The lock: the server's clock decides, this one only warns and hides.
const lockAfter = Number(document.body.dataset.lock) * 1000;
if (lockAfter) {
	let touched = performance.now(), told = touched;
	const touch = () => {
		touched = performance.now();
		$("soon").hidden = true;
		if (touched - told > Math.min(15000, lockAfter / 4)) { told = touched; fetch("/alive", { method: "POST" }); }
	};
	for (const kind of ["keydown", "pointerdown", "pointermove", "wheel"]) addEventListener(kind, touch, { passive: true });
	setInterval(() => {
		if ($("line")) return; // the page that records must stay: it hides its words itself
		const idle = performance.now() - touched;
		if (document.querySelector("[data-bedside]")) {
			// Gloved hands touch nothing: words are hidden in place of a lock.
			if (idle > lockAfter && !location.search.includes("hide")) location.replace(location.pathname + "?hide=1");
			else if (performance.now() - told > lockAfter / 3) { told = performance.now(); fetch("/alive?bedside=1", { method: "POST", headers: byItself }).then((r) => { if (r.status === 401) location.reload(); }); }
			return;
		}
		if (idle > lockAfter + 1000) location.reload();
		else if (idle > lockAfter - 30000 && lockAfter > 60000) $("soon").hidden = false;
	}, 1000);
}

watchLines();
if (document.querySelector(".item.at")) focusOpen();
