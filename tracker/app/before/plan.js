// The field from above: camera and markers to be moved about. A place's column is its metres along
// the firing line, its row minus its metres across, so that left of the line is up.
const STILL = 450; // ms without a change after which a place is final
const SLACK = 1.6; // how much more than is needed the sheet may show before it is enlarged

export default {
  props: { state: Object },
  template: `
    <div class="plan-picture">
      <svg ref="sheet" :viewBox="box.join(' ')" preserveAspectRatio="xMidYMid meet" role="group"
           aria-label="The field from above: camera and markers" @pointermove="move" @pointerup="up" @pointercancel="up">
        <g aria-hidden="true">
          <path class="plan-view" :d="now.scene.in_view" />
          <path class="plan-out" :d="now.scene.keep_out" />
          <path class="plan-grid" :d="grid" />
          <text v-for="tick in ticks" :key="tick" class="plan-tick" :x="tick" :y="box[1] + box[3] - 6 * unit" :font-size="12 * unit">{{ tick }} m</text>
          <path class="plan-line" :d="'M0 0H' + (box[0] + box[2])" />
          <path class="plan-landing" :d="now.scene.landing + 'Z'" />
          <path class="plan-flight" :d="now.scene.flight" />
          <text v-if="screen > 520" class="plan-note" x="0" :y="0.75 * clear" :font-size="12 * unit">nobody here while balls fly</text>
        </g>
        <g v-for="thing in things" :key="thing.key" class="plan-thing" :class="[thing.kind, {chosen: thing.key === now.chosen}]"
           tabindex="0" role="button" aria-roledescription="movable" :aria-label="thing.label" aria-describedby="plan-help"
           :data-key="thing.key" :transform="'translate(' + thing.x + ' ' + -thing.y + ') scale(' + unit + ')'"
           @pointerdown="down($event, thing)" @keydown="pressed($event, thing)" @focus="choose(thing)" @blur="settle">
          <circle class="hit" r="22" />
          <path v-if="thing.kind === 'camera'" class="shape" d="M-11 -8H11V8H-11ZM-4 0A4 4 0 1 1 4 0A4 4 0 1 1 -4 0" />
          <path v-else class="shape" d="M0 -10L9 7H-9Z" />
          <text v-if="thing.shown" :y="thing.shown" font-size="13">{{ thing.name }}</text>
        </g>
      </svg>
    </div>`,
  data() {
    const [, , wide, high] = this.state.scene.box;
    const ratio = Math.min(Math.max(high / wide, 0.5), 1);
    return { now: this.state, screen: 800, drag: null, moving: null, sent: 0, waiting: false, next: null, timer: null, ratio, box: this.grown(this.state.scene.box, ratio) };
  },
  computed: {
    unit() { return Math.max(this.box[2] / this.screen, this.box[3] / (0.78 * window.innerHeight)); },
    clear() { return this.now.clear; },
    ticks() {
      const step = this.box[2] / this.screen * 60 > 10 ? 20 : 10, found = [];
      for (let x = Math.ceil(this.box[0] / step) * step; x < this.box[0] + this.box[2] - 20 * this.unit; x += step) {
        if (x > this.box[0] + 10 * this.unit) found.push(x);
      }
      return found;
    },
    grid() {
      const [left, top, wide, high] = this.box;
      let path = "";
      for (let x = Math.ceil(left / 10) * 10; x < left + wide; x += 10) path += `M${x} ${top}V${top + high}`;
      for (let y = Math.ceil(top / 10) * 10; y < top + high; y += 10) path += `M${left} ${y}H${left + wide}`;
      return path;
    },
    things() {
      const all = [{ key: "", name: "camera", kind: "camera", at: this.now.camera },
        ...this.now.markers.map((one) => ({ key: one.name, name: one.name, kind: "marker", at: one.at }))];
      const placed = all.map((one) => {
        const at = this.moving && this.moving.key === one.key ? this.moving.at : one.at;
        const side = at[1] >= 0 ? "left" : "right";
        return { ...one, x: at[0], y: at[1], label: `${one.kind === "camera" ? "Camera" : "Marker " + one.name}: ${at[0].toFixed(1)} m along, ${Math.abs(at[1]).toFixed(1)} m to the ${side}` };
      });
      // A name stands above its thing, where that is taken below it, where both are nowhere.
      const set = [];
      const rank = (one, at) => (one.key === this.now.chosen ? 1000 : one.kind === "camera" ? 900 : 500 - at);
      placed.map((one, at) => [rank(one, at), one]).sort((a, b) => b[0] - a[0]).forEach(([, one]) => {
        one.shown = [-16, 26].find((row) => this.free(one, row, set)) || 0;
        if (one.shown) set.push(one);
      });
      return placed;
    },
  },
  mounted() {
    this.watcher = new ResizeObserver(() => { this.screen = this.$refs.sheet.clientWidth || 800; });
    this.watcher.observe(this.$refs.sheet);
  },
  beforeUnmount() { this.watcher.disconnect(); },
  methods: {
    show(state, serial) {
      this.now = state;
      this.answered(serial);
      this.fit();
    },
    answered(serial) {
      if (!serial || serial !== this.sent) return;
      this.waiting = false;
      this.$el.dataset.answered = String(serial);
      this.$nextTick(() => requestAnimationFrame(() => {
        this.$el.dataset.answerMs = (performance.now() - this.began).toFixed(1);
      }));
      if (this.next) { const next = this.next; this.next = null; this.tell(...next); } else if (this.final) { this.moving = null; }
    },
    // A box in the shape of the sheet, which stays: what is below it never moves.
    grown([left, top, wide, high], ratio) {
      const to = [Math.max(wide, high / ratio), Math.max(high, wide * ratio)];
      return [left - (to[0] - wide) / 2, top - (to[1] - high) / 2, ...to];
    },
    // The scale stays while something is moved, and as long as everything is seen well.
    fit() {
      if (this.drag || this.moving) return;
      const [left, top, wide, high] = this.now.scene.box, [x, y, across, down] = this.box;
      const seen = left >= x && top >= y && left + wide <= x + across && top + high <= y + down;
      const wanted = this.grown(this.now.scene.box, this.ratio);
      if (!seen || across > SLACK * wanted[2]) this.box = wanted;
    },
    free(one, row, set) {
      const half = (thing) => 4 * thing.name.length * this.unit + 4 * this.unit;
      const height = (thing, at) => -thing.y + at * this.unit;
      return !set.some((other) => Math.abs(height(one, row) - height(other, other.shown)) < 18 * this.unit
        && Math.abs(other.x - one.x) < half(one) + half(other));
    },
    choose(thing) { if (thing.key !== this.now.chosen) this.$emit("choose", thing.key); },
    // While the server answers, only the newest place waits; a final one goes before what follows it.
    tell(key, at, final) {
      if (this.waiting && !final) { this.next = [key, at, final]; return; }
      this.next = null;
      this.waiting = true; this.final = final; this.sent += 1; this.began = performance.now();
      this.$emit("moved", { key, along: at[0], across: at[1], final, serial: this.sent });
    },
    live(key, at) {
      const to = at.map((value) => Math.round(Math.min(Math.max(value, -500), 500) * 100) / 100);
      this.moving = { key, at: to };
      clearTimeout(this.timer);
      this.timer = setTimeout(() => this.settle(), STILL);
      this.tell(key, to, false);
    },
    settle() {
      clearTimeout(this.timer);
      if (!this.timer || !this.moving || this.drag) return;
      this.timer = null;
      this.tell(this.moving.key, this.moving.at, true);
    },
    point(event) {
      const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.$refs.sheet.getScreenCTM().inverse());
      return [at.x, -at.y];
    },
    down(event, thing) {
      if (event.button !== 0) return;
      const at = this.point(event);
      this.drag = { key: thing.key, by: [thing.x - at[0], thing.y - at[1]] };
      this.$refs.sheet.setPointerCapture(event.pointerId);
      event.currentTarget.focus({ preventScroll: true });
      event.preventDefault();
    },
    move(event) {
      if (!this.drag) return;
      const at = this.point(event);
      this.live(this.drag.key, [at[0] + this.drag.by[0], at[1] + this.drag.by[1]]);
    },
    up() { if (this.drag) { this.drag = null; if (this.moving) this.settle(); else this.fit(); } },
    pressed(event, thing) {
      if (event.altKey) return;
      const by = event.ctrlKey || event.metaKey ? 5 : event.shiftKey ? 0.1 : 0.5;
      const ways = { ArrowLeft: [-by, 0], ArrowRight: [by, 0], ArrowUp: [0, by], ArrowDown: [0, -by] };
      if (!(event.key in ways)) return;
      event.preventDefault(); event.stopPropagation();
      this.live(thing.key, [thing.x + ways[event.key][0], thing.y + ways[event.key][1]]);
    },
  },
};
