// The picture to mark: a frame, what the calibration draws over it, markers to pick, drag and
// nudge, and a loupe. All coordinates are pixels of the frame; [0, 0] is the middle of its first.
const MAGNIFIED = 8; // screen pixels for one of the frame's in the loupe
const STILL = 450; // ms without a change after which a pick is final
const CLICK = 5; // screen pixels within which a press is a click

export default {
  props: { state: Object },
  template: `
    <div class="mark-picture">
      <div class="mark-stage" ref="stage" tabindex="0" :style="fitting" role="application"
           aria-roledescription="picture to mark" :aria-label="described" aria-describedby="mark-help"
           @keydown="pressed" @focus="focused = true" @blur="focused = false; settle()">
        <svg ref="sheet" :viewBox="box" preserveAspectRatio="xMidYMid meet" aria-hidden="true"
             @pointerdown="down" @pointermove="move" @pointerup="up" @pointercancel="cancel"
             @pointerleave="hover = null" @wheel="wheel">
          <image :href="now.src" x="-0.5" y="-0.5" :width="now.width" :height="now.height"
                 preserveAspectRatio="none" @error="broken = true" @load="broken = false" />
          <g v-if="now.scene" class="lines">
            <path v-if="grid" class="grid" :d="now.scene.grid" />
            <path class="ellipse cased" :d="now.scene.ellipses" />
            <path class="ellipse" :d="now.scene.ellipses" />
            <path class="line cased" :d="now.scene.firing_line + pegs" />
            <path class="line" :d="now.scene.firing_line + pegs" />
            <g v-for="arrow in now.scene.arrows" :key="'a' + arrow.name">
              <path class="arrow cased" :d="arrow.path" /><path class="arrow" :d="arrow.path" />
            </g>
            <text v-for="label in grid ? labels : []" :key="label.text" class="metres" :class="side(label.pixel[0])"
                  :x="label.pixel[0]" :y="label.pixel[1] + 20 * unit" :font-size="13 * unit"
                  :stroke-width="3 * unit">{{ label.text }}</text>
          </g>
          <g v-for="mark in marks" :key="mark.name" :class="['mark', mark.kind, {chosen: mark.name === chosen}]"
             :transform="'translate(' + mark.x + ' ' + mark.y + ') scale(' + unit + ')'"
             :data-name="mark.name">
            <circle class="hit" r="22" />
            <path class="shape cased" :d="shape(mark)" /><path class="shape" :d="shape(mark)" />
            <text v-if="mark.labelY" :y="mark.labelY" :class="mark.side" font-size="14" stroke-width="4">{{ mark.label }}</text>
          </g>
          <path v-if="cursor" class="cursor cased" :d="crosshair" /><path v-if="cursor" class="cursor" :d="crosshair" />
        </svg>
        <p v-if="broken" class="fault mark-broken">This frame cannot be shown; choose another time.</p>
      </div>
      <div class="mark-tools">
        <svg class="mark-loupe" ref="loupe" :viewBox="near" role="img" :aria-label="'Magnified ' + magnified + ' times'"
             @pointerdown="loupeDown" @pointermove="loupeMove" @pointerup="loupeUp" @pointercancel="loupeUp">
          <rect class="outside" :x="at[0] - 200" :y="at[1] - 200" width="400" height="400" />
          <image :href="now.src" x="-0.5" y="-0.5" :width="now.width" :height="now.height" preserveAspectRatio="none" />
          <g v-if="now.scene" class="lines">
            <path v-if="grid" class="grid" :d="now.scene.grid" /><path class="line" :d="now.scene.firing_line" />
          </g>
          <circle v-for="ring in rings" :key="ring.name" class="ring cased" :cx="ring.x" :cy="ring.y" r="1.6" />
          <circle v-for="ring in rings" :key="'o' + ring.name" class="ring" :cx="ring.x" :cy="ring.y" r="1.6" />
          <path class="hair cased" :d="hair" /><path class="hair" :d="hair" />
        </svg>
        <p class="mark-where" role="status" aria-live="polite">{{ where }}</p>
        <div class="mark-arrows" role="group" aria-label="Move by the step">
          <button type="button" class="up" aria-label="Up" @click="nudge(0, -step)">▲</button>
          <button type="button" class="west" aria-label="Left" @click="nudge(-step, 0)">◀</button>
          <button type="button" class="set" :disabled="!chosen || picked" @click="set">Set</button>
          <button type="button" class="east" aria-label="Right" @click="nudge(step, 0)">▶</button>
          <button type="button" class="down" aria-label="Down" @click="nudge(0, step)">▼</button>
        </div>
        <div class="mark-more">
          <label class="mark-step">Step, pixels
            <select v-model.number="step"><option :value="0.1">0.1</option><option :value="1">1</option><option :value="10">10</option></select>
          </label>
          <button type="button" :disabled="now.marks.length < 2" @click="settle(); $emit('step', 1)">Next marker</button>
          <div class="row mark-zoom">
            <button type="button" @click="zoom(2)">Zoom in</button>
            <button type="button" @click="zoom(0.5)">Zoom out</button>
            <button type="button" @click="whole">Whole frame</button>
          </div>
          <label v-if="now.scene" class="mark-grid"><input type="checkbox" v-model="grid" /> Ground grid, {{ now.scene.spacing_m }} m</label>
          <p v-if="now.scene" class="hint mark-key">Cross: pick. Ring, magnified: fitted place. Line at a cross: miss, enlarged ×{{ Math.round(now.scene.scale) }}.</p>
        </div>
      </div>
      <slot></slot>
    </div>`,
  data() {
    return {
      now: this.state, cursor: null, hover: null, corner: [-0.5, -0.5], shown: 1, screen: 1000,
      step: 0.1, grid: false, focused: false, broken: false, drag: null, loupeDrag: null, moving: null, sent: 0, wanted: null,
      waiting: false, next: null, timer: null, magnified: MAGNIFIED, loupeSize: 240,
    };
  },
  computed: {
    chosen() { return this.now.chosen; },
    mark() { return this.now.marks.find((one) => one.name === this.chosen); },
    picked() { return Boolean(this.mark && this.mark.pixel); },
    wide() { return this.now.width / this.shown; },
    unit() { return this.wide / this.screen; },
    // The style sheet makes it as wide as leaves the magnified picture on the screen too.
    fitting() { return { "--ratio": this.now.width / this.now.height }; },
    box() { return [...this.corner, this.wide, this.now.height / this.shown].join(" "); },
    place() {
      if (this.moving) return this.moving;
      if (this.picked) return this.mark.pixel;
      if (this.cursor) return this.cursor;
      if (this.mark && this.mark.suggested) return this.mark.suggested;
      if (this.mark && this.mark.expected) return this.inside(this.mark.expected);
      return [this.corner[0] + this.wide / 2, this.corner[1] + this.now.height / this.shown / 2];
    },
    at() { return this.hover || this.place; },
    near() {
      const wide = this.loupeSize / MAGNIFIED;
      return [this.at[0] - wide / 2, this.at[1] - wide / 2, wide, wide].join(" ");
    },
    hair() {
      const [x, y] = this.at, far = this.loupeSize / MAGNIFIED / 2, gap = 0.9;
      return `M${x - far} ${y}H${x - gap}M${x + gap} ${y}H${x + far}M${x} ${y - far}V${y - gap}M${x} ${y + gap}V${y + far}`;
    },
    rings() {
      return this.now.marks.filter((one) => one.expected)
        .map((one) => ({ name: one.name, x: one.expected[0], y: one.expected[1] }));
    },
    crosshair() {
      const [x, y] = this.cursor, u = this.unit;
      return `M${x - 16 * u} ${y}H${x - 4 * u}M${x + 4 * u} ${y}H${x + 16 * u}M${x} ${y - 16 * u}V${y - 4 * u}M${x} ${y + 4 * u}V${y + 16 * u}`;
    },
    marks() {
      return this.named(this.now.marks.map((one) => {
        let kind = "expected", at = one.expected;
        if (one.pixel) { kind = "picked"; at = one.pixel; } else if (one.suggested) { kind = "suggested"; at = one.suggested; }
        if (this.moving && one.name === this.chosen) { kind = "picked"; at = this.moving; }
        if (!at) return null;
        if (one.suspect) kind += " suspect";
        const label = one.suspect ? `${one.name}: does not agree` : kind === "suggested" ? `${one.name}?` : one.name;
        return { name: one.name, x: at[0], y: at[1], kind, label, labelY: 0, side: this.side(at[0]) };
      }).filter(Boolean));
    },
    // A peg at every tick of the firing line, upright and of one size however flat the ground is seen.
    pegs() {
      return this.now.scene.labels.map(({ pixel }) => `M${pixel[0]} ${pixel[1] - 6 * this.unit}v${10 * this.unit}`).join("");
    },
    labels() {
      let last = -Infinity;
      return this.now.scene.labels.filter((label) => {
        const free = Math.abs(label.pixel[0] - last) > 52 * this.unit;
        if (free) last = label.pixel[0];
        return free;
      });
    },
    described() {
      const words = this.chosen ? `Marker ${this.chosen}, ${this.picked ? "picked" : "not picked yet"}.` : "No marker is chosen.";
      return `${this.now.described} ${words}`;
    },
    where() {
      const [x, y] = this.at;
      const name = this.chosen ? `${this.chosen}: ` : "";
      const state = this.hover ? "pointer at " : this.picked || this.moving ? "" : "to be set at ";
      return `${name}${state}column ${x.toFixed(1)}, row ${y.toFixed(1)}`;
    },
  },
  watch: {
    chosen() { this.cursor = null; this.moving = null; this.follow(); },
  },
  mounted() {
    this.watcher = new ResizeObserver(() => {
      this.screen = this.$refs.sheet.clientWidth || 1000;
      this.loupeSize = this.$refs.loupe.clientWidth || 240;
    });
    this.watcher.observe(this.$refs.sheet);
    this.watcher.observe(this.$refs.loupe);
  },
  beforeUnmount() { this.watcher.disconnect(); },
  methods: {
    // What the server says; `serial` is that of the change it answers.
    show(state, serial) {
      if (state.clip !== this.now.clip) { this.settle(); this.moving = null; this.cursor = null; this.drag = null; }
      this.now = this.kept(state);
      if (serial && serial === this.sent) {
        this.waiting = false;
        this.$el.dataset.answered = String(serial);
        this.$nextTick(() => requestAnimationFrame(() => {
          this.$el.dataset.answerMs = (performance.now() - this.began).toFixed(1);
        }));
        if (this.next) { const next = this.next; this.next = null; this.tell(...next); } else if (this.final) { this.moving = null; }
      }
    },
    // A state with the marker that was chosen here, until the server has heard of that choice.
    kept(state) {
      const known = state.marks.some((one) => one.name === this.wanted);
      if (!known || state.chosen === this.wanted) { this.wanted = null; return state; }
      return { ...state, chosen: this.wanted };
    },
    // Chosen at once, so that a drag holds the marker before the server has answered.
    choose(name) {
      this.wanted = name;
      this.now = this.kept(this.now);
      this.$emit("choose", name);
    },
    // A name that would lie over another stands below its mark, and is left out where that is taken
    // too; the chosen and the doubtful come first.
    named(marks) {
      const rank = (mark) => (mark.name === this.chosen ? 2 : mark.kind.includes("suspect") ? 1 : 0);
      const placed = [];
      for (const mark of [...marks].sort((one, other) => rank(other) - rank(one))) {
        const wide = 8.4 * mark.label.length * this.unit;
        const from = mark.x - (mark.side === "right" ? wide : mark.side === "left" ? 0 : wide / 2);
        for (const labelY of [-20, 32]) {
          const name = { at: mark.y + labelY * this.unit, from, to: from + wide };
          if (placed.some((other) => Math.abs(other.at - name.at) < 20 * this.unit && other.from < name.to && other.to > from)) continue;
          placed.push(name);
          mark.labelY = labelY;
          break;
        }
      }
      return marks;
    },
    // Texts near the frame's edge are set flush with it.
    side(x) {
      const share = (x - this.corner[0]) / this.wide;
      return share > 0.93 ? "right" : share < 0.07 ? "left" : "";
    },
    shape(mark) {
      if (mark.kind.includes("suspect")) return "M0 -15L14 10H-14ZM0 -5V2M0 5V6";
      if (mark.kind === "picked") return "M-11 0H-3M3 0H11M0 -11V-3M0 3V11";
      if (mark.kind === "suggested") return "M-10 0A10 10 0 1 1 10 0A10 10 0 1 1 -10 0";
      return "M-8 -8H-3M3 -8H8V-3M8 3V8H3M-3 8H-8V3M-8 -3V-8";
    },
    point(event) {
      const matrix = this.$refs.sheet.getScreenCTM().inverse();
      const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix);
      return this.inside([at.x, at.y]);
    },
    inside(at) {
      return [Math.min(Math.max(at[0], -0.5), this.now.width - 0.5), Math.min(Math.max(at[1], -0.5), this.now.height - 0.5)]
        .map((value) => Math.round(value * 10) / 10);
    },
    // Tells the server of a place; while it answers, only the newest place waits.
    tell(name, at, final, clip = this.now.clip) {
      if (this.waiting) { this.next = [name, at, final, clip]; return; }
      this.waiting = true; this.final = final; this.sent += 1; this.began = performance.now();
      this.$emit("moved", { clip, name, x: at[0], y: at[1], final, close: this.close, serial: this.sent });
    },
    put(at, close) {
      if (!this.chosen) { this.$emit("missing", {}); return; }
      this.close = close; this.cursor = null; this.moving = this.inside(at);
      this.tell(this.chosen, this.moving, true);
    },
    live(at, close) {
      this.close = close; this.moving = this.inside(at);
      clearTimeout(this.timer);
      this.timer = setTimeout(() => this.settle(), STILL);
      this.tell(this.chosen, this.moving, false);
    },
    settle() {
      clearTimeout(this.timer);
      if (this.moving && this.timer) { this.timer = null; this.tell(this.chosen, this.moving, true); }
    },
    nudge(dx, dy) {
      if (!this.chosen) { this.$emit("missing", {}); return; }
      this.hover = null;
      const at = this.inside([this.place[0] + dx, this.place[1] + dy]);
      if (this.picked || this.moving) this.live(at, true); else { this.cursor = at; }
      this.follow(at);
    },
    set() {
      if (this.picked) { this.settle(); this.$emit("step", 1); return; }
      const exact = !this.cursor && this.mark.suggested;
      if (exact) this.$emit("accept", this.chosen); else this.put(this.place, Boolean(this.cursor));
    },
    pressed(event) {
      const by = event.ctrlKey || event.metaKey ? 25 : event.shiftKey ? 1 : 0.1;
      const ways = { ArrowLeft: [-by, 0], ArrowRight: [by, 0], ArrowUp: [0, -by], ArrowDown: [0, by] };
      if (event.altKey) return;
      if (event.key in ways) this.nudge(...ways[event.key]);
      else if (event.key === "Enter" || event.key === " ") this.set();
      else if (event.key === "Delete" || event.key === "Backspace") { if (this.picked) this.$emit("unpick", this.chosen); }
      else if (event.key === "n") this.$emit("step", 1);
      else if (event.key === "p") this.$emit("step", -1);
      else if (event.key === "+") this.zoom(2);
      else if (event.key === "-") this.zoom(0.5);
      else if (event.key === "0") this.whole();
      else return;
      event.preventDefault(); event.stopPropagation();
    },
    down(event) {
      if (event.button !== 0) return;
      const mark = event.target.closest(".mark");
      const own = mark && mark.dataset.name === this.chosen && !this.picked;
      if (own && this.mark.suggested) { this.$emit("accept", this.chosen); return; }
      this.drag = { x: event.clientX, y: event.clientY, corner: [...this.corner], name: mark && !own && mark.dataset.name, far: false, touch: event.pointerType === "touch" };
      if (this.drag.name) {
        this.drag.again = this.drag.name === this.chosen;
        if (!this.drag.again) this.choose(this.drag.name);
        this.drag.was = this.marks.find((one) => one.name === this.drag.name);
      }
      if (!this.drag.touch || mark) event.target.setPointerCapture(event.pointerId);
    },
    move(event) {
      if (event.pointerType !== "touch") this.hover = this.point(event);
      if (!this.drag) return;
      const dx = event.clientX - this.drag.x, dy = event.clientY - this.drag.y;
      this.drag.far = this.drag.far || Math.hypot(dx, dy) > CLICK;
      if (!this.drag.far) return;
      if (this.drag.name) {
        if (this.drag.name === this.chosen) {
          const was = this.drag.was;
          this.live([was.x + dx * this.unit, was.y + dy * this.unit], false);
          this.hover = null;
        }
      } else if (!this.drag.touch) {
        this.corner = this.bounded([this.drag.corner[0] - dx * this.unit, this.drag.corner[1] - dy * this.unit]);
      }
    },
    up(event) {
      const drag = this.drag;
      this.drag = null;
      if (!drag) return;
      // A click on the chosen marker corrects it; a finger is too broad for that.
      const corrects = drag.again && !drag.touch && !drag.far;
      if (drag.name && !corrects) { if (drag.far) this.settle(); } else if (!drag.far) { this.put(this.point(event), false); }
      this.$refs.stage.focus({ preventScroll: true });
    },
    cancel() { this.drag = null; this.settle(); },
    loupeDown(event) {
      if (!this.chosen) { this.$emit("missing", {}); return; }
      this.loupeDrag = { x: event.clientX, y: event.clientY, at: [...this.place] };
      event.currentTarget.setPointerCapture(event.pointerId);
      event.preventDefault();
    },
    loupeMove(event) {
      if (!this.loupeDrag) return;
      const { x, y, at } = this.loupeDrag;
      const to = this.inside([at[0] - (event.clientX - x) / MAGNIFIED, at[1] - (event.clientY - y) / MAGNIFIED]);
      if (this.picked || this.moving) this.live(to, true); else this.cursor = to;
    },
    loupeUp() { this.loupeDrag = null; this.settle(); },
    wheel(event) {
      if (!event.ctrlKey) return;
      event.preventDefault();
      this.zoom(event.deltaY < 0 ? 1.25 : 0.8, this.point(event));
    },
    zoom(by, about) {
      const at = about || this.place, shown = Math.min(Math.max(this.shown * by, 1), 16);
      const share = shown / this.shown;
      this.corner = [0, 1].map((i) => at[i] - (at[i] - this.corner[i]) / share);
      if (!about) this.corner = [at[0] - this.now.width / shown / 2, at[1] - this.now.height / shown / 2];
      this.shown = shown;
      this.corner = this.bounded(this.corner);
    },
    whole() { this.shown = 1; this.corner = [-0.5, -0.5]; },
    bounded(corner) {
      return [this.now.width, this.now.height].map((size, i) =>
        Math.min(Math.max(corner[i], -0.5), size * (1 - 1 / this.shown) - 0.5));
    },
    // Moves an enlarged picture so that a place stays in it.
    follow(at) {
      if (this.shown === 1) return;
      const [x, y] = at || this.place, high = this.now.height / this.shown;
      const out = x < this.corner[0] || y < this.corner[1] || x > this.corner[0] + this.wide || y > this.corner[1] + high;
      if (out) this.corner = this.bounded([x - this.wide / 2, y - high / 2]);
    },
    chooseHere() { this.$refs.stage.focus({ preventScroll: false }); },
  },
};
