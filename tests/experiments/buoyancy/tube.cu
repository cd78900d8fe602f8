// Buoyant counterflow in a closed tube: driver. One case a line of key=value words, one JSON line a case.
// Build: nvcc -O3 -arch=sm_90 -std=c++17 -o tube tube.cu   or   g++ -O3 -march=native -fopenmp -DCPU -x c++ tube.cu -o tube
// Run:   ./tube cases.txt results.jsonl [seconds allowed]
//
// Tube of bore d along z, hot at z = 0; gravity turned by `rise` degrees, positive where the tube rises from its
// hot end. Unit temperature: the hot end's excess over the coldest. Ra = g β ΔT d³/(ν α).
#include "tube.h"
#include "../mouth/machine.h"
#ifndef CPU
KERN(flow_node, R) KERN(heat_node, R)
__global__ void g_sum(R r, const int* start, double* acc) {
  __shared__ float sh[8][NS];
  float v[NS];
  for (int q = 0; q < NS; q++) v[q] = 0;
  for (int k = start[blockIdx.x] + threadIdx.x; k < start[blockIdx.x + 1]; k += 256) sum_cell(r, k, v);
#pragma unroll
  for (int q = 0; q < NS; q++)
    for (int o = 16; o; o >>= 1) v[q] += __shfl_down_sync(~0u, v[q], o);
  if (threadIdx.x % 32 == 0) for (int q = 0; q < NS; q++) sh[threadIdx.x / 32][q] = v[q];
  __syncthreads();
  if (threadIdx.x) return;
  for (int q = 0; q < NS; q++) { for (int i = 1; i < 8; i++) sh[0][q] += sh[i][q]; acc[blockIdx.x * NS + q] += sh[0][q]; }
}
#endif
typedef std::vector<double> Row;

struct Tube {
  int d, nx, ny, nz, box; double length, c; size_t N;
  std::vector<int> node, start, bq; std::vector<unsigned> flag; std::vector<unsigned char> sector; std::vector<float> Q;
  Buf<int> dn, dbq, ds; Buf<unsigned> df; Buf<unsigned char> dsec; Buf<float> dQ, f[2], nut, tw, qw; Buf<float4> u4;
  Buf<float2> T[2], L; Buf<double> acc;
  bool inside(double x, double y, double z) const {
    if (z <= 0.5 || z >= length + 0.5) return false;  // both ends stand half a cell beyond the last cells
    x -= c; y -= c;
    return box ? fmax(fabs(x), fabs(y)) < 0.5 * d : x * x + y * y < 0.25 * d * d;
  }
  void build(int d_, double bores, int b) {
    d = d_; box = b; length = lround(bores * d); nx = ny = d + 4; c = 0.5 * (nx - 1); nz = int(length) + 2; N = (size_t)nx * ny * nz;
    node.clear(); flag.clear(); bq.clear(); Q.clear(); sector.clear(); start.assign(nz + 1, 0);
    for (int z = 0; z < nz; z++) {
      start[z] = (int)node.size();
      for (int y = 0; y < ny; y++) for (int x = 0; x < nx; x++) {
        if (!inside(x, y, z)) continue;
        unsigned fl = 0; int id = -1;
        for (int i = 0; i < 27; i++) if (!inside(x + i % 3 - 1, y + (i / 3) % 3 - 1, z + i / 9 - 1)) fl |= 1u << i;
        if (fl & LINKS) {
          id = (int)(Q.size() / 27); Q.resize(Q.size() + 27, 1.f);
          for (int i = 0; i < 27; i++) if ((fl >> i) & 1u) {
            double lo = 0, hi = 1;
            for (int it = 0; it < 22; it++) { double q = 0.5 * (lo + hi); (inside(x + q * (i % 3 - 1), y + q * ((i / 3) % 3 - 1), z + q * (i / 9 - 1)) ? lo : hi) = q; }
            Q[(size_t)id * 27 + i] = fmax(0.5 * (lo + hi), 1e-3);
          }
        }
        double turn = atan2(y - c, x - c) / (2 * M_PI); turn -= floor(turn);
        node.push_back(int(x + (size_t)nx * (y + (size_t)ny * z))); flag.push_back(fl | BRANCH); bq.push_back(id);
        sector.push_back((unsigned char)std::min(SECTORS - 1, int(turn * SECTORS)));
      }
    }
    start[nz] = (int)node.size();
    const size_t nf = node.size();
    dn.size(nf); df.size(nf); dbq.size(nf); dsec.size(nf); ds.size(nz + 1); dQ.size(Q.size()); L.size(nf);
    up(dn.a, node.data(), nf * 4); up(df.a, flag.data(), nf * 4); up(dbq.a, bq.data(), nf * 4); up(dsec.a, sector.data(), nf);
    up(ds.a, start.data(), (nz + 1) * 4); up(dQ.a, Q.data(), Q.size() * 4);
    for (int i = 0; i < 2; i++) { f[i].size(27 * N); T[i].size(N); }
    nut.size(N); u4.size(N); tw.size((size_t)nz * SECTORS); qw.size((size_t)nz * SECTORS); acc.size((size_t)nz * NS);
  }
  Row sums(const R& r) {
#ifdef CPU
    for (int z = 0; z < nz; z++) {
      float v[NS] = {0};
      for (int k = start[z]; k < start[z + 1]; k++) sum_cell(r, k, v);
      for (int q = 0; q < NS; q++) acc.a[z * NS + q] += v[q];
    }
#else
    g_sum<<<nz, 256>>>(r, ds.a, acc.a); CK(cudaGetLastError());
#endif
    Row a(acc.n); down(a.data(), acc.a, acc.n * 8); Row zero(acc.n, 0.); up(acc.a, zero.data(), acc.n * 8);
    return a;
  }
};

// Wall as a thin sheet with conduction round and along, heated by the gas and cooled outside:
// q + h (T_old - T) + sheet ∇²T - outer T = 0; h only steadies the iteration. Harmonics round, elimination along.
static void solve_sheet(std::vector<float>& tw, const Row& q, int nz, double sheet, double outer, double h, double radius) {
  std::vector<float> out(tw.size(), 0.f);
  for (int m = 0; m <= SECTORS / 2; m++) for (int part = 0; part < (m == 0 || m == SECTORS / 2 ? 1 : 2); part++) {
    double step = 2 * M_PI / SECTORS, turn = sheet * (2 - 2 * cos(m * step)) / (step * step) / (radius * radius);
    Row up_(nz), rhs(nz);
    auto wave = [&](int s) { return part ? sin(m * step * s) : cos(m * step * s); };
    for (int z = 1; z < nz - 1; z++) {
      double r = 0; for (int s = 0; s < SECTORS; s++) r += (q[z * SECTORS + s] + h * tw[z * SECTORS + s]) * wave(s);
      double left = z > 1 ? sheet : 0, right = z < nz - 2 ? sheet : 0, own = h + outer + turn + left + right;
      double den = own - (z > 1 ? left * up_[z - 1] : 0);
      up_[z] = right / den; rhs[z] = (r + (z > 1 ? left * rhs[z - 1] : 0)) / den;
    }
    for (int z = nz - 3; z >= 1; z--) rhs[z] += up_[z] * rhs[z + 1];
    double norm = (m == 0 || m == SECTORS / 2 ? 1. : 2.) / SECTORS;
    for (int z = 1; z < nz - 1; z++) for (int s = 0; s < SECTORS; s++) out[z * SECTORS + s] += float(norm * rhs[z] * wave(s));
  }
  tw = out;
}

static void run_case(Tube& s, const Case& c, FILE* out, double deadline) {
  const int d = (int)c.num("d", 32), EVERY = 100, box = (int)c.num("box", 0);
  const double bores = c.num("L", 12), Ra = c.num("Ra", 1e5), Pr = c.num("Pr", 0.7), hot = c.num("reservoir", 1.5);
  const double rise = c.num("rise", 0) * M_PI / 180, t0 = clock_s();
  // Speed of free fall over a bore; slower where the diffusivity would be too large for the explicit step.
  const double ub = fmin(c.num("U", 0.1), 0.02 * sqrt(Ra * Pr) / d), nu = ub * d * sqrt(Pr / Ra), tau = d / ub;
  s.build(d, bores, box);
  R r; memset(&r, 0, sizeof r);
  P& p = r.p;
  p.nx = s.nx; p.ny = s.ny; p.nz = s.nz; p.nf = (int)s.node.size(); p.N = s.N; p.node = s.dn.a; p.flag = s.df.a; p.bq = s.dbq.a;
  p.Q = s.dQ.a; p.u4 = s.u4.a; p.nut = s.nut.a; p.L = s.L.a; p.nu = nu; p.dt = 2.f; p.zs0 = 1 << 30; p.zs1 = p.zs0 + 1;
  p.by = ub * ub / d * cos(rise); p.bz = ub * ub / d * sin(rise); p.tref = c.num("tref", 0);
  r.sector = s.dsec.a; r.tw = s.tw.a; r.qw = s.qw.a; r.alpha = nu / Pr; r.cy2 = s.nx - 1;
  r.zr = hot > 0 ? int(hot * d) + 1 : 0; r.reservoir = hot > 0 ? 3 * ub / d : 0;
  const std::string wall = c.str("wall", "cold");  // cold, adiabatic, linear, sheet
  r.wall_on = wall != "adiabatic"; r.end_on[0] = hot == 0; r.end_t[0] = 1; r.end_on[1] = c.num("cap", 0) > 0; r.end_t[1] = 0;
  const double outer = c.num("outer", 20) * r.alpha / d, sheet = c.num("sheet", 14) * r.alpha * d, tail = c.num("tail", 2.5);
  std::vector<float> tw((size_t)s.nz * SECTORS, 0.f), host(tw.size());
  std::vector<float2> T0(s.N, make_float2(SOLID_T, SOLID_T)); std::mt19937 g(1); std::normal_distribution<float> N01;
  for (int z = 0; z < s.nz; z++) {
    double x = (z - 0.5) / d - hot, far = bores - hot;
    double guess = x < 0 ? 1 : wall == "linear" || wall == "adiabatic" ? 1 - x / far : exp(-x / tail);
    for (int e = 0; e < SECTORS; e++) tw[z * SECTORS + e] = wall == "linear" ? float(guess) : wall == "sheet" ? float(0.3 * guess) : 0.f;
    for (int k = s.start[z]; k < s.start[z + 1]; k++) T0[s.node[k]].x = float(guess) + 0.01f * float(guess) * N01(g);
  }
  up(s.tw.a, tw.data(), tw.size() * 4); up(s.T[0].a, T0.data(), s.N * 8); up(s.T[1].a, T0.data(), s.N * 8);
  std::vector<float4> U0(s.N, make_float4(0, 0, 0, 0)); up(s.u4.a, U0.data(), s.N * 16);
  std::vector<float2> L0(s.node.size(), make_float2(0, 0)); up(s.L.a, L0.data(), L0.size() * 8);
  std::vector<float> f0(s.N, 0.f);  // gas at rest: populations equal to their weights, which are left out
  for (int b = 0; b < 2; b++) for (int i = 0; i < 27; i++) up(s.f[b].a + (size_t)i * s.N, f0.data(), s.N * 4);
  std::vector<float> zero(tw.size(), 0.f); up(s.qw.a, zero.data(), zero.size() * 4);
  p.Ta = s.T[0].a; s.sums(r);  // clears

  const long block = std::max(1L, lround(c.num("block", 40) * tau / EVERY)) * EVERY, most = long(c.num("run", 400) * tau), least = long(c.num("least", 120) * tau);
  Row sum((size_t)s.nz * NS, 0.), heat(s.nz, 0.), kept, kept_heat, kept_tw; long samples = 0, st = 0; int cur = 0, tc = 0; double worst = 9, drift = 9, mass = 0;
  std::vector<double> worsts; bool bad = false;
  const double t1 = clock_s(), ring = M_PI * d / SECTORS;
  while (st < most && !bad) {
    p.src = s.f[cur].a; p.dst = s.f[1 - cur].a; p.Ta = s.T[tc].a; p.Tb = s.T[1 - tc].a; p.write = st % 2;
    LAUNCH(flow_node, r); cur = 1 - cur;
    if (st % 2) { LAUNCH(heat_node, r); tc = 1 - tc; p.ab = 0.5f; }
    if (++st % EVERY) continue;
    p.Ta = s.T[tc].a;
    Row now = s.sums(r); for (size_t i = 0; i < now.size(); i++) sum[i] += now[i];
    samples++;
    down(host.data(), s.qw.a, host.size() * 4); up(s.qw.a, zero.data(), zero.size() * 4);
    Row q(host.size()); for (size_t i = 0; i < host.size(); i++) { q[i] = host[i] / EVERY; heat[i / SECTORS] += q[i]; q[i] /= ring; }
    if (wall == "sheet") { solve_sheet(tw, q, s.nz, sheet, outer, 4 * r.alpha, 0.5 * d); up(s.tw.a, tw.data(), tw.size() * 4); }
    if (!(fabs(now[(s.nz / 2) * NS + 3]) < 1e9)) bad = true;
    if (st % block && st < most) continue;
    // Is it steady? Storage beyond each plane, over what enters there, where that is 3 % of the most.
    for (auto& v : sum) v /= samples;
    for (auto& v : heat) v /= samples;
    double beyond = 0, top = 0; worst = 0; drift = 0;
    auto flux = [&](int z) { const double* v = &sum[z * NS]; return v[3] - v[1] * v[2] / v[0] + v[6]; };
    for (int z = r.zr + d / 4; z < s.nz - d; z++) top = fmax(top, flux(z));
    for (int z = s.nz - 3; z > r.zr + d / 4; z--) {
      beyond += heat[z + 1];
      if (!r.end_on[1] && flux(z) > 0.03 * top) worst = fmax(worst, fabs(1 - beyond / flux(z)));
      if (kept.size() && flux(z) > 0.03 * top) drift = fmax(drift, fabs(sum[z * NS + 2] / kept[z * NS + 2] - 1));
    }
    if (!kept.size()) drift = 9;
    worsts.push_back(worst); worsts.push_back(drift);
    kept = sum; kept_heat = heat; kept_tw.assign(tw.begin(), tw.end());
    std::fill(sum.begin(), sum.end(), 0.); std::fill(heat.begin(), heat.end(), 0.); samples = 0;
    if ((st >= least && drift < c.num("steady", 0.004)) || clock_s() > deadline) break;
  }
  const double el = clock_s() - t1;
  fprintf(out, "{\"case\":{"); bool first = true;
  for (auto& kv : c.m) { fprintf(out, "%s\"%s\":\"%s\"", first ? "" : ",", kv.first.c_str(), kv.second.c_str()); first = false; }
  fprintf(out, "},\"bad\":%d,\"steps\":%ld,\"time\":%.4g,\"cells\":%d,\"d\":%d,\"zr\":%d,\"Ra\":%g,\"Pr\":%g,\"nu\":%.6g,\"alpha\":%.6g,\"ub\":%.6g,\"rise\":%g,\"balance\":[", bad, st, st / tau, p.nf, d, r.zr, Ra, Pr, nu, r.alpha, ub, rise);
  for (size_t i = 0; i < worsts.size(); i++) fprintf(out, "%s%.4g", i ? "," : "", worsts[i]);
  // A plane a row: x/d, T, convected flux and conducted flux over α/d, heat to the wall over α/d² per bore, wall T, w_rms/ub, cross_rms/ub, T y moment, w y moment
  fprintf(out, "],\"rows\":[");
  for (int z = 1; z < s.nz - 1 && kept.size(); z++) {
    const double* v = &kept[z * NS]; double n = v[0], A = 1 / n, t = v[2] / n; mass = v[1] / n / ub;
    double m = 0; for (int e = 0; e < SECTORS; e++) m += kept_tw[z * SECTORS + e] / SECTORS;
    fprintf(out, "%s[%.5g,%.5g,%.5g,%.5g,%.5g,%.5g,%.4g,%.4g,%.4g,%.4g]", z > 1 ? "," : "", (z - 0.5) / d, t, (v[3] - v[1] * v[2] / n) * A * d / r.alpha, v[6] * A * d / r.alpha,
            kept_heat[z] * A * d * d / r.alpha, m, sqrt(v[4] / n) / ub, sqrt(v[5] / n) / ub, v[7] / n / d, v[8] / n / d / ub);
  }
  fprintf(out, "]}\n"); fflush(out);
  printf("%-18s bad=%d time=%.0f steps=%ld %.1fs (+%.1f) %.2f GLUPS balance %.3f drift %.4f mean w %.1e\n", c.str("name", "?").c_str(), bad, st / tau, st, el, t1 - t0, double(st) * p.nf / el * 1e-9, worst, drift, mass); fflush(stdout);
}

int main(int argc, char** argv) {
  if (argc < 3) { fprintf(stderr, "usage: tube cases.txt results.jsonl [seconds]\n"); return 1; }
  const double deadline = clock_s() + (argc > 3 ? atof(argv[3]) : 1e9);
  std::ifstream in(argv[1]); FILE* out = fopen(argv[2], "w"); std::string line; Tube s;
  while (std::getline(in, line)) {
    if (line.empty() || line[0] == '#') continue;
    Case c; std::istringstream w(line); std::string a;
    while (w >> a) { auto e = a.find('='); if (e == std::string::npos) { fprintf(stderr, "not key=value: %s\n", a.c_str()); return 1; } c.m[a.substr(0, e)] = a.substr(e + 1); }
    if (clock_s() > deadline) { printf("out of time before %s\n", c.str("name", "?").c_str()); continue; }
    run_case(s, c, out, deadline);
  }
  fclose(out);
}
