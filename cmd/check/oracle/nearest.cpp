// Measures from points to a surface with the Computational Geometry Algorithms Library
// (libcgal-dev of Debian): a tree over loose triangles, as real scans are seldom manifold.
//
//   nearest surface.off points.txt    prints one JSON array of distances
#include <CGAL/AABB_traits.h>
#include <CGAL/AABB_tree.h>
#include <CGAL/AABB_triangle_primitive.h>
#include <CGAL/Simple_cartesian.h>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <string>
#include <vector>

typedef CGAL::Simple_cartesian<double> K;
typedef std::vector<K::Triangle_3> Triangles;
typedef CGAL::AABB_triangle_primitive<K, Triangles::const_iterator> Primitive;
typedef CGAL::AABB_tree<CGAL::AABB_traits<K, Primitive>> Tree;

int main(int, char **argv) {
	std::ifstream off(argv[1]);
	std::string head;
	std::size_t vertices, faces, zero;
	off >> head >> vertices >> faces >> zero;
	std::vector<K::Point_3> at(vertices);
	for (auto &p : at) {
		double x, y, z;
		off >> x >> y >> z;
		p = K::Point_3(x, y, z);
	}
	Triangles triangles;
	for (std::size_t i = 0; i < faces; i++) {
		std::size_t n, a, b, c;
		off >> n >> a >> b >> c;
		K::Triangle_3 t(at[a], at[b], at[c]);
		if (!t.is_degenerate())
			triangles.push_back(t);
	}
	Tree tree(triangles.begin(), triangles.end());
	std::ifstream in(argv[2]);
	double x, y, z;
	std::printf("[");
	for (bool first = true; in >> x >> y >> z; first = false)
		std::printf("%s%.17g", first ? "" : ", ", std::sqrt(tree.squared_distance(K::Point_3(x, y, z))));
	std::printf("]\n");
}
