// Times an embedded ray-tracing kernel, Embree (libembree-dev of Debian): point queries against the
// triangles of a surface, by one core.
//
//   embree surface.bin times    prints one JSON object: seconds, and the sum of the distances
#include "surface.h"
#include <cmath>
#include <embree3/rtcore.h>

struct V {
	float x, y, z;
};
static V operator-(V a, V b) { return {a.x - b.x, a.y - b.y, a.z - b.z}; }
static V along(V a, float t, V d) { return {a.x + t * d.x, a.y + t * d.y, a.z + t * d.z}; }
static float dot(V a, V b) { return a.x * b.x + a.y * b.y + a.z * b.z; }

// The triangle's point nearest to p: by the region of its plane over which p stands.
static V nearest(V p, V a, V b, V c) {
	V ab = b - a, ac = c - a, ap = p - a;
	float d1 = dot(ab, ap), d2 = dot(ac, ap);
	if (d1 <= 0 && d2 <= 0)
		return a;
	V bp = p - b;
	float d3 = dot(ab, bp), d4 = dot(ac, bp);
	if (d3 >= 0 && d4 <= d3)
		return b;
	float vc = d1 * d4 - d3 * d2;
	if (vc <= 0 && d1 >= 0 && d3 <= 0)
		return along(a, d1 / (d1 - d3), ab);
	V cp = p - c;
	float d5 = dot(ab, cp), d6 = dot(ac, cp);
	if (d6 >= 0 && d5 <= d6)
		return c;
	float vb = d5 * d2 - d1 * d6;
	if (vb <= 0 && d2 >= 0 && d6 <= 0)
		return along(a, d2 / (d2 - d6), ac);
	float va = d3 * d6 - d5 * d4;
	if (va <= 0 && d4 - d3 >= 0 && d5 - d6 >= 0)
		return along(b, (d4 - d3) / ((d4 - d3) + (d5 - d6)), c - b);
	float w = 1 / (va + vb + vc);
	return along(along(a, vb * w, ab), vc * w, ac);
}

static const V *at;
static const std::uint32_t *faces;

static bool visit(RTCPointQueryFunctionArguments *q) {
	const std::uint32_t *f = faces + 3 * q->primID;
	V p = {q->query->x, q->query->y, q->query->z};
	V d = p - nearest(p, at[f[0]], at[f[1]], at[f[2]]);
	float r = std::sqrt(dot(d, d));
	if (r >= q->query->radius)
		return false;
	q->query->radius = r;
	*static_cast<float *>(q->userPtr) = r;
	return true;
}

int main(int, char **argv) {
	Surface s(argv[1]);
	RTCDevice device = rtcNewDevice("threads=1");
	RTCScene scene = rtcNewScene(device);
	RTCGeometry g = rtcNewGeometry(device, RTC_GEOMETRY_TYPE_TRIANGLE);
	float *v = static_cast<float *>(rtcSetNewGeometryBuffer(g, RTC_BUFFER_TYPE_VERTEX, 0, RTC_FORMAT_FLOAT3, 12, s.at.size() / 3));
	std::copy(s.at.begin(), s.at.end(), v);
	auto *f = static_cast<std::uint32_t *>(rtcSetNewGeometryBuffer(g, RTC_BUFFER_TYPE_INDEX, 0, RTC_FORMAT_UINT3, 12, s.faces.size() / 3));
	std::copy(s.faces.begin(), s.faces.end(), f);
	at = reinterpret_cast<const V *>(v), faces = f;
	rtcSetGeometryPointQueryFunction(g, visit);
	rtcCommitGeometry(g);
	rtcAttachGeometry(scene, g);
	rtcReleaseGeometry(g);
	rtcCommitScene(scene);
	double sum = 0;
	double took = timed(std::atoi(argv[2]), [&] {
		sum = 0;
		for (std::size_t i = 0; i < s.points.size(); i += 3) {
			RTCPointQuery q = {};
			q.x = s.points[i], q.y = s.points[i + 1], q.z = s.points[i + 2];
			q.radius = INFINITY;
			RTCPointQueryContext context;
			rtcInitPointQueryContext(&context);
			float r = INFINITY;
			rtcPointQuery(scene, &q, &context, nullptr, &r);
			sum += r;
		}
	});
	std::printf("{\"nearest\": %g, \"sum\": %.9g}\n", took, sum);
	rtcReleaseScene(scene);
	rtcReleaseDevice(device);
}
