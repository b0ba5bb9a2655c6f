// Measures a surface with the Computational Geometry Algorithms Library (libcgal-dev of Debian).
//
//   oracle surface.off points.txt    prints one JSON object
#include <CGAL/AABB_face_graph_triangle_primitive.h>
#include <CGAL/AABB_traits.h>
#include <CGAL/AABB_tree.h>
#include <CGAL/Polygon_mesh_processing/connected_components.h>
#include <CGAL/Polygon_mesh_processing/measure.h>
#include <CGAL/Polygon_mesh_processing/self_intersections.h>
#include <CGAL/Simple_cartesian.h>
#include <CGAL/Surface_mesh.h>
#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <cstdio>
#include <fstream>

typedef CGAL::Exact_predicates_inexact_constructions_kernel K;
typedef CGAL::Surface_mesh<K::Point_3> Mesh;
typedef CGAL::AABB_face_graph_triangle_primitive<Mesh> Primitive;
typedef CGAL::AABB_tree<CGAL::AABB_traits<K, Primitive>> Tree;
namespace PMP = CGAL::Polygon_mesh_processing;

int main(int, char **argv) {
	Mesh m;
	std::ifstream(argv[1]) >> m;
	std::vector<std::pair<Mesh::Face_index, Mesh::Face_index>> pairs;
	PMP::self_intersections(m, std::back_inserter(pairs));
	auto piece = m.add_property_map<Mesh::Face_index, std::size_t>("f:piece", 0).first;
	std::printf("{\"faces\": %u, \"area\": %.17g, \"volume\": %.17g, \"components\": %zu, \"crossings\": %zu, \"distance\": [",
	            unsigned(m.number_of_faces()), PMP::area(m), PMP::volume(m), PMP::connected_components(m, piece), pairs.size());
	Tree tree(faces(m).begin(), faces(m).end(), m);
	std::ifstream in(argv[2]);
	double x, y, z;
	for (bool first = true; in >> x >> y >> z; first = false)
		std::printf("%s%.17g", first ? "" : ", ", std::sqrt(tree.squared_distance(K::Point_3(x, y, z))));
	std::printf("]}\n");
}
