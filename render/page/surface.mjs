// Reads the surface that mesh/compact wrote.

// bytes undoes base64 and deflate.
export async function bytes(base64) {
  const text = atob(base64);
  const packed = new Uint8Array(text.length);
  for (let i = 0; i < text.length; i++) packed[i] = text.charCodeAt(i);
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream('deflate-raw'));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

const NEW = 0, NEXT = 1, LAST = 2, OTHER = 3, NONE = 4;

// unpack returns the positions (mm, three numbers a vertex) and the faces (three vertices each).
export async function unpack(surface) {
  return new Walk(await bytes(surface.data), surface).run();
}

// Walk repeats the walk over the faces that the writer went.
class Walk {
  constructor(data, surface) {
    this.step = surface.step_mm;
    this.origin = surface.origin;
    const head = new DataView(data.buffer, data.byteOffset);
    let at = 24;
    this.parts = [];
    for (let i = 0; i < 6; i++) {
      const n = head.getUint32(4 * i, true);
      this.parts.push({ data: data.subarray(at, at + n), at: 0 });
      at += n;
    }
    const [ops, refs, ...planes] = this.parts;
    Object.assign(this, { ops, refs, planes });
    this.q = new Int32Array(3 * surface.vertices); // steps
    this.known = 0;
    this.tri = new Uint32Array(3 * surface.faces);
    this.told = 0;
    // Edges of the outline: two are made for a new vertex or one known, one for a neighbour, and
    // three for a face to begin with.
    this.room = 0;
    this.edges = 0;
    this.from = 0;
    this.grow(3 * surface.faces + 16);
    this.expected = [0, 0, 0];
  }

  grow(room) {
    for (const name of ['a', 'b', 'inside', 'prev', 'next', 'open']) {
      const wide = name === 'open' ? new Uint8Array(room) : new Int32Array(room);
      if (this[name]) wide.set(this[name]);
      this[name] = wide;
    }
    this.room = room;
  }

  run() {
    while (this.told < this.tri.length) {
      this.seed();
      let at = this.edges - 1;
      for (;;) {
        if (at < 0 || !this.open[at]) {
          while (this.from < this.edges && !this.open[this.from]) this.from++;
          if (this.from === this.edges) break;
          at = this.from;
        }
        at = this.across(at);
      }
    }
    const positions = new Float32Array(this.q.length);
    for (let i = 0; i < positions.length; i++) positions[i] = this.origin[i % 3] + this.q[i] * this.step;
    return { positions, faces: this.tri };
  }

  take(part) { return part.data[part.at++]; }

  ref() {
    let x = 0, scale = 1;
    for (;;) {
      const b = this.take(this.refs);
      x += (b & 127) * scale;
      if (b < 128) return x;
      scale *= 128;
    }
  }

  // vertex reads the next one, near to where it is expected.
  vertex() {
    for (let k = 0; k < 3; k++) {
      let z = 0;
      for (let i = 0; i < 4; i++) {
        const b = this.take(this.planes[i]);
        z |= (i < 3 ? b & 127 : b) << (7 * i);
        if (b < 128) break;
      }
      this.q[3 * this.known + k] = this.expected[k] + ((z >>> 1) ^ -(z & 1));
    }
    return this.known++;
  }

  face(a, b, c) {
    this.tri[this.told++] = a;
    this.tri[this.told++] = b;
    this.tri[this.told++] = c;
  }

  seed() {
    const id = [0, 0, 0];
    for (let k = 0; k < 3; k++) {
      const back = this.ref();
      if (back > 0) {
        id[k] = this.known - back;
        continue;
      }
      for (let j = 0; j < 3; j++) this.expected[j] = this.known > 0 ? this.q[3 * (this.known - 1) + j] : 0;
      id[k] = this.vertex();
    }
    this.face(...id);
    const n = this.edges;
    for (let k = 0; k < 3; k++) this.edge(id[k], id[(k + 1) % 3], id[(k + 2) % 3], n + (k + 2) % 3, n + (k + 1) % 3);
  }

  edge(a, b, inside, prev, next) {
    const n = this.edges++;
    if (n >= this.room) this.grow(2 * this.room);
    this.a[n] = a;
    this.b[n] = b;
    this.inside[n] = inside;
    this.prev[n] = prev;
    this.next[n] = next;
    this.open[n] = 1;
    return n;
  }

  join(i, j) {
    if (i >= 0) this.next[i] = j;
    if (j >= 0) this.prev[j] = i;
  }

  // across reads the face beyond edge i and returns the edge to go on with.
  across(i) {
    const a = this.a[i], b = this.b[i], inside = this.inside[i], prev = this.prev[i], next = this.next[i];
    const op = this.take(this.ops);
    this.open[i] = 0;
    let x = 0;
    switch (op) {
      case NONE:
        this.join(prev, -1);
        this.join(-1, next);
        return next;
      case NEXT: {
        x = this.b[next];
        this.face(b, a, x);
        return this.replace(next, this.edge(a, x, b, prev, this.next[next]));
      }
      case LAST: {
        x = this.a[prev];
        this.face(b, a, x);
        return this.replace(prev, this.edge(x, b, a, this.prev[prev], next));
      }
      case NEW:
        for (let k = 0; k < 3; k++) this.expected[k] = this.q[3 * a + k] + this.q[3 * b + k] - this.q[3 * inside + k];
        x = this.vertex();
        break;
      case OTHER:
        x = this.known - this.ref();
        break;
      default:
        throw new Error('the surface in this file is damaged');
    }
    this.face(b, a, x);
    const m = this.edge(a, x, b, prev, -1), n = this.edge(x, b, a, m, next);
    this.join(prev, m);
    this.join(m, n);
    this.join(n, next);
    return n;
  }

  // replace closes a neighbour whose place edge n takes too, and n itself if it runs back along
  // another.
  replace(other, n) {
    this.open[other] = 0;
    this.join(this.prev[n], n);
    this.join(n, this.next[n]);
    let first = n, second = this.next[n];
    if (second < 0 || this.b[second] !== this.a[n]) {
      first = this.prev[n];
      second = n;
      if (first < 0 || this.a[first] !== this.b[n]) return n;
    }
    this.open[first] = 0;
    this.open[second] = 0;
    const prev = this.prev[first], next = this.next[second];
    if (prev !== second) this.join(prev, next);
    return next;
  }
}

// normals returns a normal for each vertex: the mean of its faces, weighted by area, and then twice
// that of its neighbours that do not turn away over an edge. A simplified surface keeps the vertices
// that noise has moved most, and without that every one of them would show.
export function normals(positions, faces) {
  let n = new Float32Array(positions.length);
  for (let i = 0; i < faces.length; i += 3) {
    const a = 3 * faces[i], b = 3 * faces[i + 1], c = 3 * faces[i + 2];
    const ux = positions[b] - positions[a], uy = positions[b + 1] - positions[a + 1], uz = positions[b + 2] - positions[a + 2];
    const vx = positions[c] - positions[a], vy = positions[c + 1] - positions[a + 1], vz = positions[c + 2] - positions[a + 2];
    const x = uy * vz - uz * vy, y = uz * vx - ux * vz, z = ux * vy - uy * vx;
    for (const v of [a, b, c]) {
      n[v] += x;
      n[v + 1] += y;
      n[v + 2] += z;
    }
  }
  unit(n);
  for (let pass = 0; pass < 2; pass++) {
    const next = n.slice();
    for (let i = 0; i < faces.length; i++) {
      const v = 3 * faces[i], w = 3 * faces[i % 3 === 2 ? i - 2 : i + 1];
      if (n[v] * n[w] + n[v + 1] * n[w + 1] + n[v + 2] * n[w + 2] < 0.8) continue;
      for (let k = 0; k < 3; k++) {
        next[v + k] += n[w + k] / 2; // most edges are met twice, once each way
        next[w + k] += n[v + k] / 2;
      }
    }
    unit(next);
    n = next;
  }
  return n;
}

function unit(n) {
  for (let i = 0; i < n.length; i += 3) {
    const l = Math.hypot(n[i], n[i + 1], n[i + 2]) || 1;
    n[i] /= l;
    n[i + 1] /= l;
    n[i + 2] /= l;
  }
}

// colours reads red, green and blue of each vertex, 0 to 255; null where the file gave none.
export async function colours(base64, vertices, levels) {
  if (!base64) return null;
  const planes = await bytes(base64), out = new Uint8Array(3 * vertices), at = [0, 0, 0];
  const whole = (level) => Math.round((level & 255) * 255 / (levels - 1));
  for (let v = 0; v < vertices; v++) {
    for (let k = 0; k < 3; k++) at[k] += planes[k * vertices + v];
    out[3 * v] = whole(at[0]);
    out[3 * v + 1] = whole(at[0] + at[1]);
    out[3 * v + 2] = whole(at[0] + at[2]);
  }
  return out;
}

// shares reads the two bytes a vertex of the border's thickness: where it lies on the scale (0 to 1),
// 1 where there is one, and the field whose middle is the band's edge (0 to 1).
export async function shares(base64, vertices) {
  const out = new Float32Array(3 * vertices);
  if (!base64) return out;
  const two = await bytes(base64);
  for (let v = 0; v < vertices; v++) {
    if (two[v] === 0) continue;
    out[3 * v] = (two[v] - 1) / 254;
    out[3 * v + 1] = 1;
    out[3 * v + 2] = two[vertices + v] / 255;
  }
  return out;
}
