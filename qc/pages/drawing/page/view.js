// Which part of the picture is seen: the viewBox, in preview pixels.

const CLOSEST = 24; // preview pixels across the shorter side

export class View {
  constructor(svg, grid, changed) {
    Object.assign(this, { svg, grid, changed });
    this.whole();
  }

  whole() {
    this.show(0, 0, 1);
  }

  /** Preview pixels a CSS pixel is wide. */
  get unit() {
    return 1 / this.svg.getScreenCTM().a;
  }

  /** Where a pointer is, in preview pixels. */
  place(event) {
    const { x, y } = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
    return [x, y];
  }

  /** Where a preview pixel is, in CSS pixels from the top left of the stage. */
  onStage([x, y]) {
    const at = new DOMPoint(x, y).matrixTransform(this.svg.getScreenCTM());
    const { left, top } = this.svg.parentElement.getBoundingClientRect();
    return [at.x - left, at.y - top];
  }

  /** What is seen, [left, top, right, bottom]: beside the viewBox too, where the window has another shape. */
  get seen() {
    const { width, height } = this.svg.getBoundingClientRect();
    const [x, y] = [this.left + this.grid.width / this.times / 2, this.top + this.grid.height / this.times / 2];
    const [wide, high] = [(width * this.unit) / 2, (height * this.unit) / 2];
    return [x - wide, y - high, x + wide, y + high];
  }

  /** Closer by a factor; the place stays where it is. */
  zoom(factor, [x, y]) {
    const closest = Math.max(1, Math.min(this.grid.width, this.grid.height) / CLOSEST);
    const times = Math.min(Math.max(this.times * factor, 1), closest);
    const ratio = this.times / times;
    this.show(x - (x - this.left) * ratio, y - (y - this.top) * ratio, times);
  }

  pan(dx, dy) {
    this.show(this.left + dx, this.top + dy, this.times);
  }

  /** Bring a place into sight where it is not. */
  follow([x, y]) {
    const [width, height] = [this.grid.width / this.times, this.grid.height / this.times];
    const into = (at, low, size) => (at < low ? at - low : at > low + size ? at - low - size : 0);
    const [dx, dy] = [into(x, this.left, width), into(y, this.top, height)];
    if (dx || dy) this.pan(dx && dx + Math.sign(dx) * (width / 4), dy && dy + Math.sign(dy) * (height / 4));
  }

  show(left, top, times) {
    const { width, height } = this.grid;
    const [wide, high] = [width / times, height / times];
    this.times = times;
    this.left = Math.min(Math.max(left, 0), width - wide);
    this.top = Math.min(Math.max(top, 0), height - high);
    this.svg.setAttribute("viewBox", [this.left, this.top, wide, high].join(" "));
    this.changed();
  }
}
