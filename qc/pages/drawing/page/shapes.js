// What a zone covers. Kept as fractions of the upright picture with 4 decimals, as in a sheet; the hand works in
// whole pixels of the preview, whose edges have whole numbers. A zone is never changed: a changed one is new.

const EDGES = ["left", "top", "right", "bottom"];

export const fraction = (value) => Math.round(value * 1e4) / 1e4;

const clamp = (value, low, high) => Math.min(Math.max(value, low), high);

/** A picture of `width` by `height` preview pixels, and what zones are on it. */
export class Grid {
  constructor([width, height]) {
    this.width = width;
    this.height = height;
  }

  /** The edge of a pixel that is nearest to a place, inside the picture. */
  snap([x, y]) {
    return [clamp(Math.round(x), 0, this.width), clamp(Math.round(y), 0, this.height)];
  }

  /** Corners in preview pixels. */
  corners(shape) {
    return corners(shape).map(([x, y]) => [x * this.width, y * this.height]);
  }

  /** [left, top, right, bottom] in preview pixels. */
  bounds(shape) {
    const [left, top, right, bottom] = bounds(shape);
    return [left * this.width, top * this.height, right * this.width, bottom * this.height];
  }

  /** A box between two corners, at least a pixel wide and high. */
  box([x0, y0], [x1, y1]) {
    const [left, right] = apart(x0, x1, this.width);
    const [top, bottom] = apart(y0, y1, this.height);
    return boxed(left / this.width, top / this.height, right / this.width, bottom / this.height);
  }

  points(corners) {
    return { box: null, points: corners.map((place) => this.#fractions(place)) };
  }

  /** The same shape elsewhere: its left and top come to lie on edges of pixels. */
  moved(shape, dx, dy) {
    const [left, top, right, bottom] = bounds(shape);
    const across = shift(left, right, dx, this.width);
    const down = shift(top, bottom, dy, this.height);
    const { box } = shape;
    if (box) return { box: [fraction(left + across), fraction(top + down), box[2], box[3]], points: null };
    return { box: null, points: shape.points.map(([x, y]) => [fraction(x + across), fraction(y + down)]) };
  }

  /** A box with some of its edges at pixels, by name; they may pass the ones across. */
  withEdges(shape, edges) {
    const now = bounds(shape);
    EDGES.forEach((edge, i) => {
      if (edge in edges) now[i] = edges[edge] / (i % 2 ? this.height : this.width);
    });
    const [left, right] = apart(now[0], now[2], 1, 1 / this.width);
    const [top, bottom] = apart(now[1], now[3], 1, 1 / this.height);
    return boxed(left, top, right, bottom);
  }

  /** One corner at a pixel. */
  withCorner(shape, index, [x, y]) {
    const edges = { [index % 3 ? "right" : "left"]: x, [index < 2 ? "top" : "bottom"]: y };
    if (shape.box) return this.withEdges(shape, edges);
    return { box: null, points: shape.points.with(index, this.#fractions([x, y])) };
  }

  /** By how much a shape can be wider and higher where so much is wished for. */
  room(shape, dx, dy) {
    const [left, top, right, bottom] = this.bounds(shape);
    const across = dx && clamp(dx, left + 1 - right, this.width - right);
    return [across, dy && clamp(dy, top + 1 - bottom, this.height - bottom)];
  }

  /** Wider and higher by pixels, left and top staying, right and bottom on edges of pixels. */
  grown(shape, dx, dy) {
    const [left, top, right, bottom] = this.bounds(shape);
    const to = this.snap([Math.max(right + dx, left + 1), Math.max(bottom + dy, top + 1)]);
    if (shape.box) return this.withEdges(shape, { ...(dx && { right: to[0] }), ...(dy && { bottom: to[1] }) });
    const [wide, high] = [dx ? (to[0] - left) / (right - left) : 1, dy ? (to[1] - top) / (bottom - top) : 1];
    return this.points(this.corners(shape).map(([x, y]) => [left + (x - left) * wide, top + (y - top) * high]));
  }

  #fractions([x, y]) {
    return [fraction(x / this.width), fraction(y / this.height)];
  }

  /** What of a zone lies under a place: its corner, its edge, its inside; null for nothing. */
  under(shape, place, reach) {
    const corners = this.corners(shape);
    const near = nearest(corners.map((corner) => Math.hypot(corner[0] - place[0], corner[1] - place[1])));
    if (near.far <= reach) return { what: "corner", index: near.index };
    const side = nearest(corners.map((corner, i) => distance(place, corner, corners[(i + 1) % corners.length])));
    if (side.far <= reach) return { what: "side", index: side.index };
    return inside(corners, place) ? { what: "inside" } : null;
  }
}

/** The edge of a box that is moved by its side of this index. */
export const edgeOf = (index) => ["top", "right", "bottom", "left"][index];

const written = ({ box, points }) => JSON.stringify([box, points]);

export const sameShape = (one, other) => written(one) === written(other);

/** Part of the picture. */
export function area(shape) {
  const all = corners(shape);
  const twice = all.reduce((sum, [x, y], i) => {
    const [u, v] = all[(i + 1) % all.length];
    return sum + x * v - u * y;
  }, 0);
  return Math.abs(twice) / 2;
}

function corners(shape) {
  if (!shape.box) return shape.points;
  const [left, top, width, height] = shape.box;
  return [[left, top], [left + width, top], [left + width, top + height], [left, top + height]];
}

function bounds(shape) {
  const all = corners(shape);
  const [xs, ys] = [all.map(([x]) => x), all.map(([, y]) => y)];
  return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
}

function boxed(left, top, right, bottom) {
  const [l, t, r, b] = [left, top, right, bottom].map(fraction);
  return { box: [l, t, fraction(r - l), fraction(b - t)], points: null };
}

/** Two ends in order, at least `least` from each other, the second never beyond `end`. */
function apart(a, b, end, least = 1) {
  const [low, high] = [Math.min(a, b), Math.max(a, b)];
  if (high - low >= least) return [low, high];
  return low + least <= end ? [low, low + least] : [end - least, end];
}

function shift(low, high, pixels, length) {
  const wanted = (Math.round(low * length) + pixels) / length;
  return clamp(fraction(wanted) - low, -low, 1 - high);
}

function nearest(all) {
  const far = Math.min(...all);
  return { far, index: all.indexOf(far) };
}

function distance([x, y], [x0, y0], [x1, y1]) {
  const [dx, dy] = [x1 - x0, y1 - y0];
  const along = clamp(((x - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy || 1), 0, 1);
  return Math.hypot(x - x0 - along * dx, y - y0 - along * dy);
}

function inside(corners, [x, y]) {
  return corners.reduce((within, [x0, y0], i) => {
    const [x1, y1] = corners[(i + 1) % corners.length];
    const crosses = y0 > y !== y1 > y && x < ((x1 - x0) * (y - y0)) / (y1 - y0) + x0;
    return crosses ? !within : within;
  }, false);
}
