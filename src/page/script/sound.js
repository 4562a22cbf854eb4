"use strict";

/**
 * The bottles' sound: recordings of them, a few nodes for each note, one way out for all.
 *
 *     tone, looped --+
 *     air, ringing --+-> overtones up or down -> level --+
 *     breath noise, looped --------------------> level --+-> place -> room -> volume -> ceiling -> out
 *
 * It works in any context, so that what is heard can be rendered and measured too.
 */

/** Time constant of a breath that changes while it is blown, s. */
const CHANGE_S = 0.02;
/** Time constant in which the breath noise ends, s: it falls by 20 dB in 0.15 s, as the engine's does. */
const NOISE_ENDS_S = 0.067;
/** Time constants of a ring-down after which nothing is left: 80 dB. */
const RING_TIMES = 9.2;
/** A voice that is taken back, or silenced, is gone in this time, s. */
const HUSH_S = 0.03;
/** Time in which the air takes over from the breath when it ends, s: short beside any ring-down, long beside a click. */
const HAND_OVER_S = 0.012;
/** The level of one bottle at the usual breath under a full volume: four of them stay under the ceiling. */
const ONE_BOTTLE = 0.4;
/** No sample passes this; up to the knee nothing is bent. */
const CEILING = 0.89;
const KNEE = 0.7;
/** Softest and loudest click of the beat. */
const CLICK = { low_hz: 1000, high_hz: 1600, lasts_s: 0.05, level: 0.25 };

/** A curve that leaves everything under the knee alone and never passes the ceiling. */
function ceilingCurve() {
  const points = 4097;
  const curve = new Float32Array(points);
  for (let i = 0; i < points; i += 1) {
    const x = (2 * i) / (points - 1) - 1;
    const over = Math.max(Math.abs(x) - KNEE, 0);
    const room = CEILING - KNEE;
    curve[i] = Math.sign(x) * (Math.min(Math.abs(x), KNEE) + room * Math.tanh(over / room));
  }
  return curve;
}

/** Where a looping recording is, which may be played a little faster or slower. */
class Track {
  /**
   * @param {ClipData} clip
   * @param {number} at when it begins, s of the context
   * @param {number} rate times its own speed
   */
  constructor(clip, at, rate) {
    this.loop_s = (clip.looped ?? [0, 0]).map((frame) => frame / clip.rate_hz);
    /** What was said last of its speed: from `at`, where it was, it goes from one to another. */
    this.last = { at, place_s: 0, from: rate, to: rate };
  }

  /**
   * Where it is in its recording, s, and how fast it goes.
   *
   * @param {number} at
   */
  look(at) {
    const { last } = this;
    const gone = Math.max(at - last.at, 0);
    const lag = Math.exp(-gone / CHANGE_S);
    const over = (last.from - last.to) * CHANGE_S * (1 - lag);
    const [start, end] = this.loop_s;
    const straight = last.place_s + last.to * gone + over;
    const place_s = straight < end ? straight : start + ((straight - start) % (end - start));
    return { place_s, rate: last.to + (last.from - last.to) * lag };
  }

  /**
   * @param {number} rate to go to
   * @param {number} at
   */
  change(rate, at) {
    const { place_s, rate: from } = this.look(at);
    this.last = { at, place_s, from, to: rate };
  }
}

/**
 * Loudness and phase of a tone around a moment of a recording: a window of four periods shuts overtones out.
 *
 * @param {AudioBuffer} buffer
 * @param {number} place_s
 * @param {number} hz of the tone as it is recorded
 * @returns {{ level: number, angle: number }}
 */
function toneAt(buffer, place_s, hz) {
  const samples = buffer.getChannelData(0);
  const middle = place_s * buffer.sampleRate;
  const half = Math.round((2 * buffer.sampleRate) / hz);
  const turn = (2 * Math.PI * hz) / buffer.sampleRate;
  let [real, imaginary, weights] = [0, 0, 0];
  const first = Math.max(Math.ceil(middle) - half, 0);
  const last = Math.min(Math.floor(middle) + half, samples.length - 1);
  for (let frame = first; frame <= last; frame += 1) {
    const off = frame - middle;
    const weight = Math.cos((Math.PI * off) / (2 * half + 2)) ** 2;
    real += weight * samples[frame] * Math.cos(turn * off);
    imaginary -= weight * samples[frame] * Math.sin(turn * off);
    weights += weight;
  }
  if (weights === 0) return { level: 0, angle: 0 };
  return { level: (2 * Math.hypot(real, imaginary)) / weights, angle: Math.atan2(imaginary, real) };
}

/** A note that sounds, or is to. */
class Voice {
  /**
   * @param {BaseAudioContext} context
   * @param {number} place of its bottle
   * @param {number} at when it begins, s of the context
   */
  constructor(context, place, at) {
    this.context = context;
    this.place = place;
    this.at = at;
    /** When its breath ends; of a struck one nothing does. */
    this.until = Infinity;
    /** When nothing is left of it. */
    this.silent = Infinity;
    /** @type {AudioScheduledSourceNode[]} */
    this.sources = [];
    /** @type {AudioNode[]} */
    this.nodes = [];
    /** @type {AudioParam[]} what it is as loud as */
    this.levels = [];
    /** @type {(g: number, at?: number) => void} another breath */
    this.blow = () => {};
    /** @type {((at: number) => number) | null} what is done when the breath ends; says when nothing is left */
    this.ring = null;
  }

  /**
   * Lets it go: it rings down by itself.
   *
   * @param {number} [at]
   */
  release(at = this.context.currentTime) {
    const from = Math.max(at, this.at, this.context.currentTime);
    if (!this.ring || from >= this.until) return;
    this.until = from;
    this.silent = this.ring(from);
    for (const source of this.sources) source.stop(this.silent);
  }

  /** Cuts it off, sounding or not yet. */
  hush() {
    const now = this.context.currentTime;
    for (const level of this.levels) {
      level.cancelScheduledValues(now);
      level.setTargetAtTime(0, now, HUSH_S / 5);
    }
    this.until = Math.min(this.until, now);
    this.silent = Math.max(now + HUSH_S, this.at);
    for (const source of this.sources) source.stop(this.silent);
  }
}

class Instrument {
  /**
   * @param {BaseAudioContext} context
   * @param {PageData} data
   * @param {(AudioBuffer | null)[][]} buffers two for each bottle, as they come
   * @param {AudioBuffer | null} room
   */
  constructor(context, data, buffers, room = null) {
    this.context = context;
    this.data = data;
    this.buffers = buffers;
    /** @type {Set<Voice>} */
    this.voices = new Set();
    this.ceiling = new WaveShaperNode(context, { curve: ceilingCurve() });
    this.volume = new GainNode(context, { gain: ONE_BOTTLE });
    this.volume.connect(this.ceiling).connect(context.destination);
    this.dry = new GainNode(context);
    this.dry.connect(this.volume);
    this.wet = new GainNode(context, { gain: 1 });
    if (room) this.setRoom(room);
    this.places = data.bottles.map((bottle) => {
      const place = new StereoPannerNode(context, { pan: bottle.pan });
      place.connect(this.dry);
      return place;
    });
    /** @type {OscillatorNode | null} */
    this.tone = null;
  }

  /**
   * Reads every recording of a set for a context of this rate; `done` hears of each.
   *
   * @param {BaseAudioContext} context
   * @param {PageData} data
   * @param {(buffers: (AudioBuffer | null)[][]) => void} [done]
   */
  static async read(context, data, done) {
    /** @type {(AudioBuffer | null)[][]} */
    const buffers = data.bottles.map(() => [null, null]);
    /** @param {ClipData} clip */
    const decoded = (clip) => context.decodeAudioData(bytesOf(clip.flac));
    const each = data.bottles.map(async ({ clips }, place) => {
      buffers[place] = await Promise.all(clips.map(decoded));
      if (done) done(buffers);
    });
    await Promise.all(each);
    const room = data.room ? await decoded(data.room) : null;
    return { buffers, room };
  }

  /**
   * Puts the bottles into a room. Its answer to a click begins with the click itself.
   *
   * @param {AudioBuffer} room
   */
  setRoom(room) {
    const walls = new ConvolverNode(this.context, { buffer: room, disableNormalization: true });
    this.dry.disconnect();
    this.dry.connect(walls).connect(this.wet).connect(this.volume);
    this.walls = walls;
  }

  /**
   * Takes them out of it, or puts them back.
   *
   * @param {boolean} dry
   */
  setDry(dry) {
    if (!this.walls) return;
    this.dry.disconnect();
    if (dry) this.dry.connect(this.volume);
    else this.dry.connect(this.walls);
  }

  /** @param {number} part 0 to 1 */
  setVolume(part) {
    this.volume.gain.setTargetAtTime(ONE_BOTTLE * part * part, this.context.currentTime, CHANGE_S);
  }

  /**
   * Blows or strikes a bottle.
   *
   * @param {number} place
   * @param {number} [g] breath over the threshold; a mallet's speed goes with it
   * @param {number} [at] s of the context
   * @returns {Voice}
   */
  play(place, g = USUAL_BREATH, at = this.context.currentTime) {
    const voice = new Voice(this.context, place, Math.max(at, this.context.currentTime));
    const [first, second] = this.buffers[place];
    if (first && second) {
      if (this.data.bottles[place].struck) this.strike(voice, [first, second], g / USUAL_BREATH);
      else this.blow(voice, [first, second], g);
    }
    this.voices.add(voice);
    const last = voice.sources[0];
    if (last) last.onended = () => this.forget(voice);
    else this.voices.delete(voice);
    return voice;
  }

  /** @param {Voice} voice */
  forget(voice) {
    this.voices.delete(voice);
    for (const node of voice.nodes) node.disconnect();
  }

  /**
   * @param {Voice} voice
   * @param {[AudioBuffer, AudioBuffer]} buffers of the tone and of the noise
   * @param {number} g
   */
  blow(voice, buffers, g) {
    const { context, data } = this;
    const bottle = data.bottles[voice.place];
    const breath = breathAt(data.breaths, g);
    const rate = 2 ** (breath.cents / 1200);
    const [tone, noise] = buffers.map((buffer, which) => looping(context, buffer, bottle.clips[which]));
    tone.playbackRate.value = rate;
    const held = new GainNode(context);
    const overtones = new BiquadFilterNode(context, {
      type: "highshelf",
      frequency: 1.5 * bottle.hz,
      gain: breath.overtones_db,
    });
    const [toneGain, noiseGain] = bottle.clips.map((clip) => clip.gain);
    const toneLevel = new GainNode(context, { gain: toneGain * breath.tone });
    const noiseLevel = new GainNode(context, { gain: noiseGain * breath.noise });
    tone.connect(held).connect(overtones).connect(toneLevel).connect(this.places[voice.place]);
    noise.connect(noiseLevel).connect(this.places[voice.place]);
    voice.sources = [tone, noise];
    voice.nodes = [tone, noise, held, overtones, toneLevel, noiseLevel];
    voice.levels = [toneLevel.gain, noiseLevel.gain];
    const track = new Track(bottle.clips[0], voice.at, rate);
    voice.blow = (other, at = context.currentTime) => {
      if (at >= voice.until) return;
      const is = breathAt(data.breaths, other);
      const to = 2 ** (is.cents / 1200);
      toneLevel.gain.setTargetAtTime(toneGain * is.tone, at, CHANGE_S);
      noiseLevel.gain.setTargetAtTime(noiseGain * is.noise, at, CHANGE_S);
      overtones.gain.setTargetAtTime(is.overtones_db, at, CHANGE_S);
      tone.playbackRate.setTargetAtTime(to, at, CHANGE_S);
      track.change(to, at);
    };
    voice.ring = (at) => {
      const { place_s, rate: now } = track.look(at);
      const { level, angle } = toneAt(buffers[0], place_s, bottle.hz);
      // What rings is the air alone: a pure tone that goes on where the breath leaves it, at the bottle's own pitch.
      const real = new Float32Array([0, level * Math.cos(angle)]);
      const imaginary = new Float32Array([0, -level * Math.sin(angle)]);
      const periodicWave = new PeriodicWave(context, { real, imag: imaginary, disableNormalization: true });
      const air = new OscillatorNode(context, { periodicWave, frequency: bottle.hz * now });
      const ringing = new GainNode(context, { gain: 0 });
      air.connect(ringing).connect(overtones);
      air.start(at);
      held.gain.setValueAtTime(1, at);
      held.gain.linearRampToValueAtTime(0, at + HAND_OVER_S);
      ringing.gain.setValueAtTime(0, at);
      ringing.gain.linearRampToValueAtTime(1, at + HAND_OVER_S);
      // It falls to 1/e in Q / (π f).
      const ring_s = bottle.q / (Math.PI * bottle.hz);
      toneLevel.gain.setTargetAtTime(0, at, ring_s);
      noiseLevel.gain.setTargetAtTime(0, at, NOISE_ENDS_S);
      voice.sources.push(air);
      voice.nodes.push(air, ringing);
      return at + RING_TIMES * Math.max(ring_s, NOISE_ENDS_S);
    };
    tone.start(voice.at);
    noise.start(voice.at);
  }

  /**
   * @param {Voice} voice
   * @param {[AudioBuffer, AudioBuffer]} buffers of a soft and of a hard stroke
   * @param {number} speed of the mallet, m/s
   */
  strike(voice, buffers, speed) {
    const { context, data } = this;
    const [soft, hard] = data.strokes_m_s;
    const which = speed < Math.sqrt(soft * hard) ? 0 : 1;
    const clip = data.bottles[voice.place].clips[which];
    const source = new AudioBufferSourceNode(context, { buffer: buffers[which] });
    const level = new GainNode(context, { gain: (clip.gain * speed) / data.strokes_m_s[which] });
    source.connect(level).connect(this.places[voice.place]);
    source.start(voice.at);
    voice.silent = voice.at + buffers[which].duration;
    voice.sources = [source];
    voice.nodes = [source, level];
    voice.levels = [level.gain];
  }

  /**
   * Clicks a beat.
   *
   * @param {number} at
   * @param {boolean} first it begins a bar
   */
  click(at, first) {
    const { context } = this;
    const frequency = first ? CLICK.high_hz : CLICK.low_hz;
    const source = new OscillatorNode(context, { frequency });
    const level = new GainNode(context, { gain: 0 });
    level.gain.setValueAtTime(0, at);
    level.gain.linearRampToValueAtTime(CLICK.level, at + 0.001);
    level.gain.setTargetAtTime(0, at + 0.002, CLICK.lasts_s / 5);
    source.connect(level).connect(this.volume);
    source.start(at);
    source.stop(at + CLICK.lasts_s);
    source.onended = () => level.disconnect();
    return source;
  }

  /**
   * A plain tone to compare with; none stops it.
   *
   * @param {number | null} hz
   */
  compare(hz) {
    const now = this.context.currentTime;
    if (this.tone && this.toneLevel) {
      this.toneLevel.gain.cancelScheduledValues(now);
      this.toneLevel.gain.setTargetAtTime(0, now, 0.01);
      this.tone.stop(now + 0.1);
      this.tone = null;
    }
    if (hz === null) return;
    this.tone = new OscillatorNode(this.context, { frequency: hz });
    this.toneLevel = new GainNode(this.context, { gain: 0 });
    this.toneLevel.gain.setTargetAtTime(0.5, now, 0.02);
    this.tone.connect(this.toneLevel).connect(this.volume);
    this.tone.start(now);
  }

  /** Places of the bottles that sound now, the lowest first: those that are held, and struck ones while they ring. */
  sounding() {
    const now = this.context.currentTime;
    const heard = [...this.voices].filter((voice) => voice.at <= now && now < Math.min(voice.until, voice.silent));
    return [...new Set(heard.map((voice) => voice.place))].sort((a, b) => a - b);
  }

  /** Cuts everything off. */
  hush() {
    for (const voice of this.voices) voice.hush();
    this.compare(null);
  }
}

/**
 * A recording that goes on as long as it is wanted.
 *
 * @param {BaseAudioContext} context
 * @param {AudioBuffer} buffer
 * @param {ClipData} clip
 */
function looping(context, buffer, clip) {
  const [loopStart, loopEnd] = (clip.looped ?? [0, 0]).map((frame) => frame / clip.rate_hz);
  return new AudioBufferSourceNode(context, { buffer, loop: clip.looped !== null, loopStart, loopEnd });
}
