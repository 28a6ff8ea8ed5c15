// Takes the microphone's sound as blocks of a tenth of a second, at 16 kHz,
// mono, 16 bits, and says how loud each was. It runs beside the page, so that
// nothing the page does holds it up.
"use strict";

const rate = 16000;
const size = rate / 10;

// Lower makes 16 kHz of a higher rate: a sinc below the new half rate, under a
// Blackman window (Oppenheim and Schafer, Discrete-Time Signal Processing;
// formulas from memory), read off a table.
class Lower {
	constructor(from) {
		this.step = from / rate;
		this.half = Math.ceil(20 * this.step); // samples on each side
		this.phases = 256;
		const cut = 0.94 / this.step; // of the old half rate
		this.table = new Float64Array(this.half * this.phases + 2);
		for (let i = 0; i < this.table.length; i++) {
			const x = i / this.phases, w = Math.min(x / this.half, 1);
			const sinc = x === 0 ? 1 : Math.sin(Math.PI * cut * x) / (Math.PI * cut * x);
			this.table[i] = cut * sinc * (0.42 + 0.5 * Math.cos(Math.PI * w) + 0.08 * Math.cos(2 * Math.PI * w));
		}
		this.kept = new Float32Array(this.half * 2); // silence before the first sample
		this.at = this.half * 2; // where the next sample lies, in kept
	}
	*run(samples) {
		const all = new Float32Array(this.kept.length + samples.length);
		all.set(this.kept);
		all.set(samples, this.kept.length);
		while (this.at + this.half + 1 < all.length) {
			const first = Math.ceil(this.at - this.half), last = Math.floor(this.at + this.half);
			let sum = 0;
			for (let i = first; i <= last; i++) {
				const x = Math.abs(i - this.at) * this.phases, k = Math.floor(x);
				if (k + 1 < this.table.length) sum += all[i] * (this.table[k] + (x - k) * (this.table[k + 1] - this.table[k]));
			}
			yield sum;
			this.at += this.step;
		}
		const drop = Math.max(Math.floor(this.at) - this.half - 1, 0);
		this.kept = all.slice(drop);
		this.at -= drop;
	}
}

class Mouthpiece extends AudioWorkletProcessor {
	constructor() {
		super();
		this.block = new Int16Array(size);
		this.n = this.peak = this.sum = this.clipped = 0;
		this.lower = sampleRate === rate ? null : new Lower(sampleRate);
		this.port.onmessage = () => this.give(true); // up to here, and say so
	}
	give(cut) {
		const samples = this.block.slice(0, this.n);
		this.port.postMessage({ samples, cut, peak: this.peak, level: Math.sqrt(this.sum / Math.max(this.n, 1)), clipped: this.clipped }, [samples.buffer]);
		this.n = this.peak = this.sum = this.clipped = 0;
	}
	process(inputs) {
		const sound = inputs[0][0];
		if (!sound) return true; // the microphone gives nothing; the page notices
		for (const x of this.lower ? this.lower.run(sound) : sound) {
			const a = Math.abs(x);
			this.block[this.n++] = Math.max(-32768, Math.min(32767, Math.round(x * 32768)));
			this.peak = Math.max(this.peak, a);
			this.sum += x * x;
			if (a > 0.998) this.clipped++;
			if (this.n === size) this.give(false);
		}
		return true;
	}
}

registerProcessor("mouthpiece", Mouthpiece);
