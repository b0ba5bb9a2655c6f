// Times the Computational Geometry Algorithms Library (libcgal-dev of Debian): nearest points of a
// surface, by one core.
//
//   cgal surface.bin times    prints one JSON object: seconds, and the sum of the distances
#include "surface.h"
#include <CGAL/AABB_traits.h>
#include <CGAL/AABB_tree.h>
#include <CGAL/AABB_triangle_primitive.h>
#include <CGAL/Simple_cartesian.h>
#include <cmath>

typedef CGAL::Simple_cartesian<double> K;
typedef std::vector<K::Triangle_3> Triangles;
typedef CGAL::AABB_triangle_primitive<K, Triangles::const_iterator> Primitive;
typedef CGAL::AABB_tree<CGAL::AABB_traits<K, Primitive>> Tree;

int main(int, char **argv) {
	Surface s(argv[1]);
	Triangles triangles;
	auto at = [&](std::uint32_t v) { return K::Point_3(s.at[3 * v], s.at[3 * v + 1], s.at[3 * v + 2]); };
	for (std::size_t i = 0; i < s.faces.size(); i += 3) {
		K::Triangle_3 t(at(s.faces[i]), at(s.faces[i + 1]), at(s.faces[i + 2]));
		if (!t.is_degenerate())
			triangles.push_back(t);
	}
	Tree tree(triangles.begin(), triangles.end());
	tree.accelerate_distance_queries();
	double sum = 0;
	double took = timed(std::atoi(argv[2]), [&] {
		sum = 0;
		for (std::size_t i = 0; i < s.points.size(); i += 3) {
			K::Point_3 p(s.points[i], s.points[i + 1], s.points[i + 2]);
			sum += std::sqrt(CGAL::squared_distance(p, tree.closest_point(p)));
		}
	});
	std::printf("{\"nearest\": %g, \"sum\": %.9g}\n", took, sum);
}
