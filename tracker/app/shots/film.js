// A clip to step through, frame by frame, with a flight drawn over it, a magnified view of the ball,
// and places picked by a click. Where the browser cannot decode the clip, the server draws frames.
const MAGNIFIED = 8; // screen pixels for one of the frame's in the magnified view
const WAIT = 2500; // ms after which a clip that shows nothing is drawn by the server

export default {
  props: { state: Object },
  template: `
    <div class="film">
      <div class="film-stage" ref="stage" tabindex="0" :style="stage" role="application" :aria-label="described"
           aria-roledescription="film" @keydown="pressed">
        <div class="film-inner" :style="inner">
          <video v-show="!stills" ref="video" :src="now.src" muted playsinline preload="auto"
                 aria-hidden="true" @seeked="arrived" @loadeddata="loaded" @error="fallBack"></video>
          <img v-if="stills" ref="still" :src="stillSrc" alt="" @load="arrived" />
          <svg ref="sheet" :viewBox="'-0.5 -0.5 ' + now.width + ' ' + now.height" aria-hidden="true"
               preserveAspectRatio="none" @pointerdown="down" @pointermove="move" @pointerup="up">
            <polyline class="cased ahead" :points="ahead" /><polyline class="ahead" :points="ahead" />
            <polyline class="cased flown" :points="flown" /><polyline class="flown" :points="flown" />
            <path class="dots cased" :d="dots" /><path class="dots" :d="dots" />
            <g v-for="spot in spots" :key="spot.kind" :transform="placed(spot)">
              <path class="spot cased" :d="shape(spot.kind)" /><path class="spot" :d="shape(spot.kind)" />
            </g>
            <g v-if="ball" :transform="placed({x: ball[0], y: ball[1]})">
              <circle class="ball cased" r="11" /><circle class="ball" r="11" />
            </g>
            <g v-for="(pick, number) in picks" :key="number" :transform="placed({x: pick[1], y: pick[2]})">
              <path class="pick cased" d="M-12 0H12M0 -12V12" /><path class="pick" d="M-12 0H12M0 -12V12" />
              <text y="-16" font-size="14" stroke-width="4">{{ number + 1 }}</text>
            </g>
            <g v-if="now.mode && cursor" :transform="placed({x: cursor[0], y: cursor[1]})">
              <path class="cursor cased" d="M-16 0H-4M4 0H16M0 -16V-4M0 4V16" />
              <path class="cursor" d="M-16 0H-4M4 0H16M0 -16V-4M0 4V16" />
            </g>
          </svg>
        </div>
      </div>
      <div class="film-below">
        <canvas ref="loupe" class="film-loupe" width="240" height="240" role="img"
                :aria-label="'The ball, magnified ' + magnified + ' times'"
                @pointerdown="loupeDown"></canvas>
        <div class="film-controls">
          <p class="film-where" role="status" aria-live="off">{{ where }}</p>
          <input type="range" min="0" :max="now.times.length - 1" :value="frame" aria-label="Frame"
                 @input="go(Number($event.target.value))" />
          <div class="row">
            <button type="button" aria-label="To the release" @click="toRelease">Release</button>
            <button type="button" aria-label="One frame back" @click="step(-1)">◀</button>
            <button type="button" @click="play">{{ playing ? "Pause" : "Play" }}</button>
            <button type="button" aria-label="One frame on" @click="step(1)">▶</button>
            <button type="button" aria-label="To the landing" @click="toLanding">Landing</button>
          </div>
          <div class="row">
            <label class="film-speed">Speed
              <select v-model.number="speed">
                <option :value="1">life</option><option :value="0.25">1/4</option><option :value="0.1">1/10</option>
              </select>
            </label>
            <button type="button" :aria-pressed="String(zoomed > 1)" @click="zoom">{{ zoomed > 1 ? "Whole frame" : "Zoom on the ball" }}</button>
            <template v-if="now.mode">
              <button type="button" class="main" :disabled="!cursor" @click="set">Set here</button>
              <button type="button" @click="cancel">Cancel</button>
            </template>
          </div>
          <p v-if="stills" class="hint">This browser cannot decode the clip; each frame is drawn by the program.</p>
        </div>
      </div>
    </div>`,
  data() {
    return {
      now: this.state, frame: this.state.frame, shownFrame: this.state.frame, wanted: null, seeking: false,
      stills: false, playing: false, speed: 0.25, zoomed: 1, cursor: null, picks: this.state.picks || [],
      screen: 1000, press: null, magnified: MAGNIFIED, timer: null, begun: null,
    };
  },
  computed: {
    unit() { return this.now.width / (this.screen * this.zoomed); },
    stillSrc() { return `${this.now.stills}${this.frame}?width=${Math.min(this.now.width, 1920)}`; },
    time() { return this.now.times[this.frame]; },
    ball() {
      const flight = this.now.flight;
      if (!flight) return null;
      const found = flight.points.find((one) => one[0] === this.frame);
      if (found) return [found[1], found[2]];
      return this.onPath(this.time);
    },
    flown() { return this.line((at) => at[0] < this.time) + this.here; },
    ahead() { return this.here + this.line((at) => at[0] > this.time); },
    // The measured places of the ball until now.
    dots() {
      const points = this.now.flight ? this.now.flight.points : [];
      return points.filter((one) => one[3] && one[0] <= this.frame).map((one) => `M${one[1]} ${one[2]}h0`).join("");
    },
    here() {
      const at = this.now.flight && this.onPath(this.time);
      return at ? ` ${at[0]},${at[1]} ` : "";
    },
    spots() {
      const flight = this.now.flight || {};
      return ["release", "apex", "landing"].filter((kind) => flight[kind])
        .map((kind) => ({ kind, x: flight[kind][0], y: flight[kind][1] }));
    },
    stage() {
      const ratio = this.now.width / this.now.height;
      return { aspectRatio: String(ratio), width: `min(100%, ${(72 * ratio).toFixed(2)}vh)` };
    },
    inner() {
      const [x, y] = this.focus(), share = (at, size) =>
        Math.min(Math.max(0.5 - (at / size) * this.zoomed, 1 - this.zoomed), 0);
      return {
        width: `${100 * this.zoomed}%`,
        left: `${100 * share(x, this.now.width)}%`,
        top: `${100 * share(y, this.now.height)}%`,
      };
    },
    where() {
      const since = this.now.flight && this.now.flight.path.length ? `, ${this.sinceRelease()}` : "";
      const mode = this.now.mode ? ` ${this.now.hint}` : "";
      const at = this.now.mode && this.cursor ? ` Column ${this.cursor[0].toFixed(1)}, row ${this.cursor[1].toFixed(1)}.` : "";
      return `Frame ${this.frame}, ${(this.time - this.now.times[0]).toFixed(3)} s in the clip${since}.${mode}${at}`;
    },
    described() { return `${this.now.described}. ${this.where}`; },
  },
  mounted() {
    this.watcher = new ResizeObserver(() => { this.screen = this.$refs.stage.clientWidth || 1000; });
    this.watcher.observe(this.$refs.stage);
    this.timer = setTimeout(() => { if (!this.begun) this.fallBack(); }, WAIT);
    if (this.$refs.video.readyState >= 2) this.loaded();
  },
  beforeUnmount() { this.watcher.disconnect(); clearTimeout(this.timer); this.playing = false; },
  methods: {
    // What the server says: another clip, another flight, another mode.
    show(state) {
      const other = state.src !== this.now.src;
      const jump = other || state.jump;
      this.now = state;
      this.picks = state.picks || [];
      if (other) { this.begun = null; this.stills = false; this.seeking = false; this.timer = setTimeout(() => { if (!this.begun) this.fallBack(); }, WAIT); }
      if (jump) { this.playing = false; this.go(state.frame); }
      if (state.mode) { this.cursor = this.cursor || this.ball || this.end(state.mode) || this.focus(); this.$refs.stage.focus({ preventScroll: true }); } else { this.cursor = null; }
      this.$nextTick(this.magnify);
    },
    loaded() {
      const video = this.$refs.video;
      if (!video.videoWidth) { this.fallBack(); return; }
      // A film that comes late takes the place of the frames that were drawn for it.
      clearTimeout(this.timer); this.begun = true; this.stills = false; this.go(this.frame);
    },
    fallBack() { clearTimeout(this.timer); this.begun = true; this.stills = true; this.seeking = false; this.go(this.frame); },
    middle(frame) {
      const times = this.now.times, next = frame + 1 < times.length ? times[frame + 1] : this.now.times[0] + this.now.duration;
      return (times[frame] + next) / 2;
    },
    go(frame) {
      this.frame = Math.min(Math.max(frame, 0), this.now.times.length - 1);
      if (this.now.mode) this.cursor = this.ball || this.cursor;
      if (this.stills || !this.begun) return;
      if (this.seeking) { this.wanted = this.frame; return; }
      this.seeking = true; this.wanted = null;
      this.$refs.video.currentTime = this.middle(this.frame);
    },
    arrived() {
      this.seeking = false;
      if (this.wanted !== null && !this.stills) { const frame = this.wanted; this.wanted = null; this.go(frame); return; }
      this.shownFrame = this.frame;
      this.$el.dataset.frame = String(this.frame);
      requestAnimationFrame(this.magnify);
    },
    step(by) { this.playing = false; this.go(this.frame + by); },
    toRelease() { this.playing = false; this.go(this.nearest(this.now.flight && this.now.flight.path.length ? this.now.flight.path[0][0] : this.now.times[0])); },
    toLanding() {
      const path = this.now.flight ? this.now.flight.path : [];
      this.playing = false; this.go(this.nearest(path.length ? path[path.length - 1][0] : this.now.times[this.now.times.length - 1]));
    },
    frameAt(time) {
      let best = 0;
      this.now.times.forEach((at, index) => { if (at <= time + 1e-6) best = index; });
      return best;
    },
    // The frame nearest to the release lies up to half a frame before it.
    sinceRelease() {
      const played = this.time - this.now.flight.path[0][0], frame = this.now.duration / this.now.times.length;
      if (Math.abs(played) <= 0.5 * frame) return "at the release";
      return `${this.since(Math.abs(played))} s ${played < 0 ? "before" : "after"} the release`;
    },
    since(played) { return (Math.round((1000 * played) / this.now.pace) / 1000 + 0).toFixed(3); },
    nearest(time) {
      const before = this.frameAt(time), times = this.now.times;
      return before + 1 < times.length && times[before + 1] - time < time - times[before] ? before + 1 : before;
    },
    // True time: a frame is shown for as long as it lasted, over the speed.
    play() {
      this.playing = !this.playing;
      if (!this.playing) return;
      const began = performance.now(), from = this.time;
      const tick = () => {
        if (!this.playing) return;
        const at = from + ((performance.now() - began) / 1000) * this.speed * this.now.pace;
        const frame = this.frameAt(at);
        if (frame !== this.frame) this.go(frame);
        if (frame >= this.now.times.length - 1) { this.playing = false; return; }
        requestAnimationFrame(tick);
      };
      requestAnimationFrame(tick);
    },
    zoom() { this.zoomed = this.zoomed > 1 ? 1 : 5; },
    focus() { return this.cursor && this.now.mode ? this.cursor : this.ball || [this.now.width / 2, this.now.height / 2]; },
    end(mode) { return (this.now.flight && this.now.flight[mode]) || null; },
    line(wanted) {
      return this.now.flight ? this.now.flight.path.filter(wanted).map((at) => `${at[1]},${at[2]}`).join(" ") : "";
    },
    onPath(time) {
      // The frames next to release and landing lie beyond them by less than a frame.
      const path = this.now.flight.path, last = path.length - 1, frame = this.now.duration / this.now.times.length;
      if (last < 0 || time < path[0][0] - frame || time > path[last][0] + frame) return null;
      if (time <= path[0][0]) return path[0].slice(1, 3);
      if (time >= path[last][0]) return path[last].slice(1, 3);
      for (let k = 1; k < path.length; k += 1) {
        if (path[k][0] >= time) {
          const share = (time - path[k - 1][0]) / (path[k][0] - path[k - 1][0] || 1);
          return [1, 2].map((axis) => path[k - 1][axis] + share * (path[k][axis] - path[k - 1][axis]));
        }
      }
      return null;
    },
    placed(spot) { return `translate(${spot.x} ${spot.y}) scale(${this.unit})`; },
    shape(kind) { return this.now.signs[kind]; },
    point(event) {
      const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.$refs.sheet.getScreenCTM().inverse());
      return this.inside([at.x, at.y]);
    },
    inside(at) {
      return [Math.min(Math.max(at[0], -0.5), this.now.width - 0.5), Math.min(Math.max(at[1], -0.5), this.now.height - 0.5)]
        .map((value) => Math.round(value * 10) / 10);
    },
    down(event) { this.press = [event.clientX, event.clientY]; },
    move(event) { if (this.now.mode && event.pointerType !== "touch") { this.hover = this.point(event); } },
    up(event) {
      if (!this.now.mode || !this.press) return;
      this.press = null;
      this.cursor = this.point(event);
      this.magnify();
      this.set();
    },
    loupeDown(event) {
      if (!this.now.mode) return;
      const box = this.$refs.loupe.getBoundingClientRect(), centre = this.focus();
      const side = 240 / MAGNIFIED;
      this.cursor = this.inside([
        centre[0] + ((event.clientX - box.left) / box.width - 0.5) * side,
        centre[1] + ((event.clientY - box.top) / box.height - 0.5) * side,
      ]);
      this.magnify();
    },
    set() {
      if (!this.cursor) return;
      // What a person sees counts: the frame that is wanted may not have come yet.
      this.$emit("picked", { mode: this.now.mode, frame: this.shownFrame, x: this.cursor[0], y: this.cursor[1] });
    },
    cancel() { this.$emit("cancelled", {}); },
    nudge(x, y) { this.cursor = this.inside([this.cursor[0] + x, this.cursor[1] + y]); this.magnify(); },
    pressed(event) {
      if (!this.now.mode || !this.cursor) return;
      const by = event.shiftKey ? 10 : 1;
      const moves = { ArrowLeft: [-by, 0], ArrowRight: [by, 0], ArrowUp: [0, -by], ArrowDown: [0, by] };
      if (moves[event.key]) { this.nudge(...moves[event.key]); } else if (event.key === "Enter") { this.set(); } else { return; }
      event.preventDefault(); event.stopPropagation();
    },
    magnify() {
      const canvas = this.$refs.loupe, source = this.stills ? this.$refs.still : this.$refs.video;
      if (!canvas || !source) return;
      const pen = canvas.getContext("2d"), side = 240 / MAGNIFIED, [x, y] = this.focus();
      const width = source.videoWidth || source.naturalWidth, share = width ? width / this.now.width : 0;
      pen.imageSmoothingEnabled = false;
      pen.fillStyle = "#777"; pen.fillRect(0, 0, 240, 240);
      if (!share) return;
      pen.drawImage(source, (x + 0.5 - side / 2) * share, (y + 0.5 - side / 2) * share, side * share, side * share, 0, 0, 240, 240);
      for (const [colour, wide] of [["#0d151b", 3.5], ["#ffd75e", 1.5]]) {
        pen.strokeStyle = colour; pen.lineWidth = wide; pen.beginPath();
        for (const [from, to] of [[0, 105], [135, 240]]) { pen.moveTo(from, 120); pen.lineTo(to, 120); pen.moveTo(120, from); pen.lineTo(120, to); }
        pen.stroke();
      }
    },
  },
};
