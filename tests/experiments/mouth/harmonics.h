// First harmonic of the driven tone, a block of whole periods at a time: pressure and velocity over the
// branch's planes and the main pipe's sections, as sums with cos and sin of the force's phase.
#pragma once
struct Harmonics {
  const bool wanted; const long period, every; long taken = 0; double force = 0;
  std::vector<double> branch, main; std::vector<float> host;
  std::vector<std::vector<double>> blocks;
  static constexpr int PERIODS = 4;  // of one block
  Harmonics(const Sim& s, bool w, long p, long e)
      : wanted(w), period(p), every(e), branch(4 * s.nz, 0.), main(4 * SECTIONS, 0.) {}
  void add(Sim& s, const P& p, const std::vector<float>& now, long st, double A) {
    sections(s, p, host);
    const double ph = 2 * M_PI * double(st % period) / period, c = cos(ph), q = sin(ph);
    for (int z = 0; z < s.nz; z++) {
      const float* v = &now[(size_t)z * NQ];
      if (v[0] <= 0) continue;
      const double r = v[1] / v[0] / 3, w = v[2] / v[0];
      branch[4 * z] += r * c; branch[4 * z + 1] += r * q; branch[4 * z + 2] += w * c; branch[4 * z + 3] += w * q;
    }
    for (int i = 0; i < SECTIONS; i++) {
      const double n = fmax(host[3 * i], 1.f), r = host[3 * i + 1] / n / 3, u = host[3 * i + 2] / n;
      main[4 * i] += r * c; main[4 * i + 1] += r * q; main[4 * i + 2] += u * c; main[4 * i + 3] += u * q;
    }
    force = A;
    if (++taken * every < PERIODS * period) return;
    std::vector<double> b;
    for (int z = 0; z < s.nz; z++) if (z > s.crown) for (int q2 = 0; q2 < 4; q2++) b.push_back(2 * branch[4 * z + q2] / taken);
    for (double m : main) b.push_back(2 * m / taken);
    blocks.push_back(b); taken = 0;
    std::fill(branch.begin(), branch.end(), 0.); std::fill(main.begin(), main.end(), 0.);
  }
  void write(FILE* out, const Sim& s) const {
    if (!wanted) return;
    int first = 0; while (first <= s.crown) first++;
    fprintf(out, ",\"waves\":{\"force\":%.8g,\"z\":[", force);
    for (int z = first; z < s.nz; z++) fprintf(out, "%s%.6g", z > first ? "," : "", z - s.crown);
    fprintf(out, "],\"x\":[");
    for (int i = 0; i < SECTIONS; i++) fprintf(out, "%s%.6g", i ? "," : "", s.section(i) - s.x0);
    fprintf(out, "],\"blocks\":[");
    for (size_t b = 0; b < blocks.size(); b++) {
      fprintf(out, "%s[", b ? "," : "");
      for (size_t i = 0; i < blocks[b].size(); i++) fprintf(out, "%s%.7g", i ? "," : "", blocks[b][i]);
      fprintf(out, "]");
    }
    fprintf(out, "]}");
  }
};
