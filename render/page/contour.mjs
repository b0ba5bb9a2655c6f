// The line in which a plane cuts the surface.

// cutting returns a function that cuts the surface with the plane of the points p with n · p = at.
// It returns lines { points: [[x, y, z] …], closed }, mm.
export function cutting(positions, faces) {
  const height = new Float32Array(positions.length / 3);
  return (n, at) => {
    for (let v = 0, i = 0; v < height.length; v++, i += 3) {
      height[v] = positions[i] * n[0] + positions[i + 1] * n[1] + positions[i + 2] * n[2] - at;
    }
    const pieces = new Map(); // from the edge where a face goes down through the plane to that where it comes up
    const back = new Map();
    for (let f = 0; f < faces.length; f += 3) {
      const a = height[faces[f]] >= 0, b = height[faces[f + 1]] >= 0, c = height[faces[f + 2]] >= 0;
      if (a === b && b === c) continue;
      let down = 0, up = 0;
      const over = [a, b, c];
      for (let k = 0; k < 3; k++) {
        const i = faces[f + k], j = faces[f + (k + 1) % 3], here = over[k], there = over[(k + 1) % 3];
        if (here && !there) down = key(i, j);
        else if (there && !here) up = key(i, j);
      }
      pieces.set(down, up);
      back.set(up, down);
    }
    return chain(pieces, back, (edge) => {
      const i = Math.floor(edge / MOST), j = edge % MOST, t = height[i] / (height[i] - height[j]);
      return [0, 1, 2].map((k) => positions[3 * i + k] + t * (positions[3 * j + k] - positions[3 * i + k]));
    });
  };
}

const MOST = 67108864; // vertices, so that two fit into one number

function key(i, j) { return i < j ? i * MOST + j : j * MOST + i; }

function chain(pieces, back, where) {
  const lines = [];
  while (pieces.size) {
    const [start] = pieces.keys();
    // A line that ends is begun where no piece leads to; one that closes, anywhere.
    let first = start;
    for (let n = pieces.size; n > 0 && pieces.has(back.get(first)); n--) {
      first = back.get(first);
      if (first === start) break;
    }
    const edges = [first];
    for (let at = first; pieces.has(at);) {
      const next = pieces.get(at);
      pieces.delete(at);
      edges.push(at = next);
    }
    const closed = edges.length > 2 && edges[edges.length - 1] === first;
    if (closed) edges.pop();
    lines.push({ points: edges.map(where), closed });
  }
  return lines;
}

// length returns how long a line of flat or spatial points is.
export function length(line) {
  let sum = 0;
  const n = line.points.length;
  for (let i = 1; i < n + (line.closed ? 1 : 0); i++) sum += apart(line.points[i - 1], line.points[i % n]);
  return sum;
}

export function apart(a, b) {
  let sum = 0;
  for (let k = 0; k < a.length; k++) sum += (a[k] - b[k]) ** 2;
  return Math.sqrt(sum);
}
