// A surface and points as `check speed` writes them: counts as uint64, coordinates as double,
// corners as uint32, in the machine's own order.
#include <algorithm>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <vector>

struct Surface {
	std::vector<double> at, points;
	std::vector<std::uint32_t> faces;

	explicit Surface(const char *name) {
		std::ifstream in(name, std::ios::binary);
		std::uint64_t n[3];
		in.read(reinterpret_cast<char *>(n), sizeof n);
		at.resize(3 * n[0]);
		faces.resize(3 * n[1]);
		points.resize(3 * n[2]);
		in.read(reinterpret_cast<char *>(at.data()), at.size() * sizeof(double));
		in.read(reinterpret_cast<char *>(faces.data()), faces.size() * sizeof(std::uint32_t));
		in.read(reinterpret_cast<char *>(points.data()), points.size() * sizeof(double));
		if (!in) {
			std::fprintf(stderr, "%s cannot be read\n", name);
			std::exit(1);
		}
	}
};

// The middle one of the seconds that work takes, of so many times.
template <class Work> double timed(int times, Work work) {
	std::vector<double> took;
	for (int i = 0; i < times; i++) {
		auto start = std::chrono::steady_clock::now();
		work();
		took.push_back(std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
	}
	std::sort(took.begin(), took.end());
	return took[took.size() / 2];
}
