// One case: start, controllers (bulk flow, tone, mass), plane sums in blocks, output.
#pragma once
static void begin(Sim& s, const P& p, const Case& c, double U, const Snap& sn) {
  std::mt19937 g((unsigned)c.num("seed", 1)); std::normal_distribution<float> N01;
  const bool still = c.num("still", 0) > 0, turb = c.num("laminar", 0) == 0, grown = c.str("init", "new") == "up" && sn.d > 0;
  std::vector<float4> m(s.node.size()); std::vector<float2> t(s.node.size());
  for (size_t k = 0; k < s.node.size(); k++) {
    int n = s.node[k], x = n % s.nx, y = (n / s.nx) % s.ny, z = n / (s.nx * s.ny);
    double a = (y - s.cy) / (0.5 * s.d), b = (z - s.cy) / (0.5 * s.d), r = sqrt(a * a + b * b), th = atan2(b, a);
    double dist = (z - s.crown) / (2 * s.Rb);
    float4 q = make_float4(0, 0, 0, 0); float T0 = s.pipe ? 0.f : 1.f;
    if (!s.pipe && dist > 0) T0 = 0.35 * exp(-pow(dist / 2.3, 3));
    if (r < 1 && !still) {
      if (turb) {
        double ph = 2 * M_PI * x / s.nx, en = (1 - r * r) * U;
        q.x = U * 1.2 * pow(1 - r, 1 / 7.) + en * (0.25 * cos(6 * th + ph) + 0.1 * N01(g));
        q.y = en * (0.2 * sin(3 * ph + 2 * b * 3) + 0.1 * N01(g)); q.z = en * (0.2 * cos(2 * ph + 3 * a) + 0.1 * N01(g));
      } else q.x = 2 * U * (1 - r * r);
    }
    float2 tt = make_float2(T0, s.pipe ? 1.f : T0);
    if (grown) {  // trilinear from a coarser grid's snapshot, solid cells left out of the temperature
      double h = double(sn.d) / s.d, X = sn.x0 + (x - s.x0) * h, Y = sn.cy + (y - s.cy) * h, Z = sn.crown + (z - s.crown) * h;
      int i = (int)floor(X), j = (int)floor(Y), l = (int)floor(Z); double w = 0; q = make_float4(0, 0, 0, 0); float2 e = make_float2(0, 0);
      for (int o = 0; o < 8; o++) {
        int I = ((i + (o & 1)) % sn.nx + sn.nx) % sn.nx, J = j + ((o >> 1) & 1), K = l + (o >> 2);
        if (J < 0 || K < 0 || J >= sn.ny || K >= sn.nz) continue;
        double wt = fabs(1 - (o & 1) - (X - i)) * fabs(1 - ((o >> 1) & 1) - (Y - j)) * fabs(1 - (o >> 2) - (Z - l));
        size_t v = I + (size_t)sn.nx * (J + (size_t)sn.ny * K);
        float4 uu = sn.u[v]; q.x += wt * uu.x; q.y += wt * uu.y; q.z += wt * uu.z; q.w += wt * uu.w;
        if (sn.T[v].x > -5) { w += wt; e.x += wt * sn.T[v].x; e.y += wt * sn.T[v].y; }
      }
      tt = w > 1e-6 ? make_float2(e.x / w, e.y / w) : make_float2(s.flag[k] & MAIN, s.flag[k] & MAIN);
    }
    if (!s.pipe && (s.flag[k] & MAIN)) { tt.x = 1; if (s.flag[k] & HOLDB) tt.y = 1; }
    m[k] = q; t[k] = tt;
  }
  s.start_from(p, m, t);
}

static bool run_case(Sim& s, Snap& sn, const Case& c, FILE* out, double deadline) {
  const double t0 = clock_s();
  const int d = (int)c.num("d", 48), CS = 20; const bool pipe = c.num("pipe", 0) > 0;
  const double U = c.num("U", 0.08), Re = c.num("Re", 20000), Lx = c.num("Lx", 6), Lb = c.num("Lb", 10), rb = c.num("rb", 0.7);
  const std::string init = c.str("init", "new");
  if (!s.same(d, Lx, Lb, rb, pipe)) s.build(d, Lx, Lb, rb, pipe);
  const double db = rb * d, tau = d / U;  // a still main pipe keeps U as its unit of speed
  const bool still = c.num("still", 0) > 0;
  P p = s.params(U * d / Re);
  if (c.num("nowale", 0) > 0) p.cw2 = 0;
  p.cold = 1 / c.num("ratio", 1);  // absolute temperature of the main gas over that of the branch's wall
  p.everywhere = p.cold == 1.f;    // else gas is added to the main pipe alone, which feeds what shrinks in the branch
  p.holdA = !pipe; p.uxsrc = pipe ? U / d : 0;
  if (init == "base" && sn.d == d && sn.f.size() == 27 * s.N) {
    s.cur = s.tc = 0; up(s.f[0].a, sn.f.data(), sn.f.size() * 4); up(s.u4.a, sn.u.data(), s.N * 16);
    up(s.T[0].a, sn.T.data(), s.N * 8); up(s.T[1].a, sn.T.data(), s.N * 8);
  } else if (init != "prev") begin(s, p, c, U, sn);
  LAUNCH(wale_node, p);
  const double eta = c.num("eta", 0);  // mouth displacement in branch bores, amplitude
  const bool sponge = c.num("sponge", eta > 0 ? 0 : 1) > 0 && !pipe;
  if (sponge) { p.zs0 = int(s.crown + (Lb - 3) * db); p.zs1 = s.nz; p.smax = 0.03f * 48 / d; }
  double k0 = M_PI / 2 / (Lb * db), k1 = M_PI / (Lb * db) - 1e-9;  // branch with cap, main pipe of finite period
  for (int i = 0; i < 60; i++) { double k = 0.5 * (k0 + k1); (tan(k * Lb * db) + 2 / (rb * rb) * tan(k * Lx * d / 2) < 0 ? k0 : k1) = k; }
  double fr = c.num("Sto", 0) > 0 ? c.num("Sto", 0) * U / db : k0 / sqrt(3.) / 2 / M_PI;
  const long Tp = std::max(1L, lround(1 / fr / CS)) * CS; const double om = 2 * M_PI / Tp, target = eta * db * om;
  double A = c.num("A0", 0.1) * target * om, wre = 0, wim = 0, pre = 0, pim = 0, wamp = 0, pamp = 0; long np = 0, cyc = 0;
  const double pa = c.num("pa", 0), po = 2 * M_PI * c.num("pst", 0.2) * U / d;  // main: U (1 + pa sin)
  const double Ri = c.num("Ri", 0); const std::string dir = c.str("grav", "none");
  const float B = Ri * U * U / db;  // acceleration for a unit temperature difference
  if (dir == "rising") p.bz = B; if (dir == "falling") p.bz = -B; if (dir == "level") p.by = B; if (dir == "levelx") p.bx = B;
  const long dev = long(c.num("dev", 60) * tau / CS) * CS, tot = dev + long(c.num("stat", 200) * tau / CS) * CS;
  const int nb = (int)c.num("blocks", 20); const long bl = std::max((long)CS, (tot - dev) / nb / CS * CS);
  double gI = still ? 0 : 0.5 * c.num("f0", 0.04) * U * U / d, g = gI, gsum = 0, Um = U, usum = 0; long gn = 0;
  std::vector<float> now((size_t)s.nz * NQ); std::vector<double> acc((size_t)s.nz * NQ);
  const int nbin = pipe ? 1 : int(Lb * 10), zmouth = int(s.crown + 0.15 * db) + 1, zcap = s.nz - 6;
  std::vector<std::vector<double>> blocks; std::vector<double> trace, amps;
  Harmonics waves(s, c.num("waves", 0) > 0, Tp, CS);
  p.ab = 0; bool bad = false; long st = 0;
  double tstart = clock_s();
  auto clear = [&] { std::vector<double> z(s.acc.n, 0.); up(s.acc.a, z.data(), z.size() * 8); };
  clear();
  for (; st < tot; st++) {
    const double ph = om * st;
    if (pa > 0) p.gx = g + U * pa * po * cos(po * st); else p.gx = g;
    p.fz = eta > 0 ? A * cos(ph) : 0.f;
    p.src = s.f[s.cur].a; p.dst = s.f[1 - s.cur].a; p.Ta = s.T[s.tc].a; p.Tb = s.T[1 - s.tc].a; p.write = st % 2;
    LAUNCH(step_node, p); s.cur = 1 - s.cur;
    if (st % 2) { LAUNCH(scalar_node, p); s.tc = 1 - s.tc; p.ab = 0.5f; }
    if (st % 4 == 3) LAUNCH(wale_node, p);
    if ((st + 1) % CS) continue;
    p.Ta = s.T[s.tc].a; s.stat(p, now.data());
    double mu = 0, mc = 0, rr = 0, cc = 0, sr = 0, sc = 0;
    for (int z = 0; z < s.nz; z++) {
      const float* v = &now[(size_t)z * NQ]; mu += v[15]; mc += v[16]; rr += v[1]; cc += v[0];
      if (z > p.zs0) { sr += v[1]; sc += v[0]; }
    }
    Um = mu / mc;
    if (!(fabs(Um) < 1)) { bad = true; break; }
    if (!still) {
    double e = U * (1 + pa * sin(po * st)) - Um; gI += e / (400. * 100 * d) * CS; g = gI + e / (8. * d);
    }
    p.drho = -0.2f * (rr / cc) / CS; if (sc > 0) p.rref += 0.01f * (sr / sc - p.rref);
    if (eta > 0 || c.num("listen", 0) > 0) {
      const float* v = &now[(size_t)zmouth * NQ]; const float* q = &now[(size_t)zcap * NQ];
      double w = v[2] / v[0], r = q[1] / q[0];
      wre += w * cos(ph); wim += w * sin(ph); pre += r * cos(ph); pim += r * sin(ph); np++;
      if (np * CS >= Tp) {
        wamp = 2 * hypot(wre, wim) / np; pamp = 2 * hypot(pre, pim) / np / 3;
        if (eta > 0 && !(st >= dev && waves.wanted)) A *= fmin(1.5, fmax(0.67, pow(target / fmax(wamp, 1e-6), cyc < 20 ? 0.35 : 0.15)));
        wre = wim = pre = pim = 0; np = 0; cyc++;
        if (st >= dev) { amps.push_back(wamp); amps.push_back(pamp); }
      }
    }
    if (st >= dev && waves.wanted) waves.add(s, p, now, st, A);
    if (st < dev) { if (st + 1 >= dev) clear(); continue; }
    gsum += g; usum += Um; gn++;
    if ((st + 1 - dev) % bl == 0) {
      down(acc.data(), s.acc.a, acc.size() * 8); clear();
      std::vector<double> b((size_t)nbin * NQ, 0.);
      for (int z = 0; z < s.nz; z++) {
        double x = (z - s.crown) / db; int i = pipe ? 0 : (int)floor(x * 10);
        if (pipe || (x > 0 && i < nbin)) for (int q = 0; q < NQ; q++) b[(size_t)i * NQ + q] += acc[(size_t)z * NQ + q];
      }
      blocks.push_back(b); trace.push_back(Um / U);
      if (clock_s() > deadline) break;
    }
  }
  double el = clock_s() - tstart;
  double wsum = 0, psum = 0; for (size_t i = 0; i + 1 < amps.size(); i += 2) { wsum += amps[i]; psum += amps[i + 1]; }
  double na = fmax(1, amps.size() / 2.);
  fprintf(out, "{\"case\":{");
  bool first = true; for (auto& kv : c.m) { fprintf(out, "%s\"%s\":\"%s\"", first ? "" : ",", kv.first.c_str(), kv.second.c_str()); first = false; }
  fprintf(out, "},\"bad\":%d,\"steps\":%ld,\"cells\":%d,\"seconds\":%.1f,\"setup\":%.1f,\"glups\":%.3f,\"U\":%g,\"Umeas\":%.6g,\"g\":%.6g,\"nu\":%.6g,\"db\":%g,\"bl\":%ld,\"cs\":%d,", bad, st, p.nf, el, tstart - t0, double(st) * p.nf / el * 1e-9, U, usum / fmax(1, gn), gsum / fmax(1, gn), p.nu, db, bl, CS);
  fprintf(out, "\"period\":%ld,\"w_amp\":%.6g,\"p_cap\":%.6g,\"A\":%.6g,\"target\":%.6g,\"nbin\":%d,\"nq\":%d,\"trace\":[", Tp, wsum / na, psum / na, A, target, nbin, NQ);
  for (size_t i = 0; i < trace.size(); i++) fprintf(out, "%s%.4f", i ? "," : "", trace[i]);
  fprintf(out, "],\"blocks\":[");
  for (size_t b = 0; b < blocks.size(); b++) { fprintf(out, "%s[", b ? "," : ""); for (size_t i = 0; i < blocks[b].size(); i++) fprintf(out, "%s%.5g", i ? "," : "", blocks[b][i]); fprintf(out, "]"); }
  fprintf(out, "]"); waves.write(out, s); fprintf(out, "}\n"); fflush(out);
  printf("%-14s bad=%d steps=%ld cells=%d %.1fs (+%.1f) %.2f GLUPS U %.4f/%.4f f/0.02=%.3f w_amp/U %.4f (target %.4f) p_cap/rhoU2 %.3f\n", c.str("name", "?").c_str(), bad, st, p.nf, el, tstart - t0,
         double(st) * p.nf / el * 1e-9, usum / fmax(1, gn), U, 2 * gsum / fmax(1, gn) * d / U / U / 0.02, wsum / na / U, target / U, psum / na / U / U); fflush(stdout);
  if (c.num("save", 0) > 0 && !bad) {
    sn.d = d; sn.nx = s.nx; sn.ny = s.ny; sn.nz = s.nz; sn.crown = s.crown; sn.x0 = s.x0; sn.cy = s.cy;
    sn.f.resize(27 * s.N); sn.u.resize(s.N); sn.T.resize(s.N);
    down(sn.f.data(), s.f[s.cur].a, 27 * s.N * 4); down(sn.u.data(), s.u4.a, s.N * 16); down(sn.T.data(), s.T[s.tc].a, s.N * 8);
  }
  return !bad;
}

int main(int argc, char** argv) {
  if (argc < 3) { fprintf(stderr, "usage: mouth cases.txt results.jsonl [seconds]\n"); return 1; }
  double deadline = clock_s() + (argc > 3 ? atof(argv[3]) : 1e9);
  std::ifstream in(argv[1]); FILE* out = fopen(argv[2], "w"); std::string line; Sim s; std::map<int, Snap> snaps;
  while (std::getline(in, line)) {
    if (line.empty() || line[0] == '#') continue;
    Case c; std::istringstream w(line); std::string a;
    while (w >> a) { auto e = a.find('='); if (e == std::string::npos) { fprintf(stderr, "not key=value: %s\n", a.c_str()); return 1; } c.m[a.substr(0, e)] = a.substr(e + 1); }
    if (clock_s() > deadline) { printf("out of time before %s\n", c.str("name", "?").c_str()); continue; }
    run_case(s, snaps[(int)c.num("snap", 0)], c, out, deadline);
  }
  fclose(out);
}
