// Times three.js and three-mesh-bvh (npm) on a scan and a surface with points near it.
//
//     node bvh.mjs scan.stl surface.bin times    prints one JSON object: seconds, the middle one of so many

import { readFileSync } from 'node:fs'
import { performance } from 'node:perf_hooks'
import { BufferAttribute, BufferGeometry, Vector3 } from 'three'
import { STLLoader } from 'three/addons/loaders/STLLoader.js'
import { mergeVertices } from 'three/addons/utils/BufferGeometryUtils.js'
import { MeshBVH } from 'three-mesh-bvh'

const [scan, surface, times] = process.argv.slice(2)

function timed(work) {
  const took = []
  for (let i = 0; i < Number(times); i++) {
    const start = performance.now()
    work()
    took.push((performance.now() - start) / 1000)
  }
  return took.sort((a, b) => a - b)[took.length >> 1]
}

const read = timed(() => {
  const file = readFileSync(scan)
  const loose = new STLLoader().parse(file.buffer.slice(file.byteOffset, file.byteOffset + file.length))
  loose.deleteAttribute('normal') // else vertices are told apart by it
  mergeVertices(loose, 1e-7)
})

const raw = readFileSync(surface)
const bytes = raw.buffer.slice(raw.byteOffset, raw.byteOffset + raw.length)
const [vertices, faces, asked] = [...new BigUint64Array(bytes, 0, 3)].map(Number)
const at = new Float32Array(new Float64Array(bytes, 24, 3 * vertices))
const index = new Uint32Array(bytes.slice(24 + 24 * vertices, 24 + 24 * vertices + 12 * faces))
const points = new Float64Array(bytes.slice(24 + 24 * vertices + 12 * faces))

const geometry = new BufferGeometry()
geometry.setAttribute('position', new BufferAttribute(at, 3))
geometry.setIndex(new BufferAttribute(index, 1))
const tree = new MeshBVH(geometry)
const p = new Vector3()
const hit = {}
let sum = 0
const nearest = timed(() => {
  sum = 0
  for (let i = 0; i < 3 * asked; i += 3) {
    p.set(points[i], points[i + 1], points[i + 2])
    sum += tree.closestPointToPoint(p, hit).distance
  }
})
console.log(JSON.stringify({ read, nearest, sum }))
