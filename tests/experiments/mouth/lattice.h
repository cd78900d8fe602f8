// Cell updates of the lattice experiment. The same source runs on a GPU (nvcc) and on a CPU (g++ -DCPU).
// Flow: D3Q27; second-order central moments relax, all higher central Hermite moments are set to
// equilibrium (this is the recursive-regularised scheme); the trace relaxes at once (bulk viscosity).
// Walls: linearly interpolated bounce-back (Bouzidi, Firdaouss, Lallemand 2001). Subgrid: WALE, 0.325.
// Scalars: finite volumes, Koren-limited third-order upwind, Adams-Bashforth 2, Shortley-Weller walls.
#pragma once
#include <cmath>
#include <cstdint>
#ifdef CPU
#define D_ static inline
struct float2 { float x, y; };
struct float4 { float x, y, z, w; };
static inline float2 make_float2(float a, float b) { return {a, b}; }
static inline float4 make_float4(float a, float b, float c, float d) { return {a, b, c, d}; }
#else
#define D_ __device__ __forceinline__
#endif

enum : unsigned {
  LINKS = (1u << 27) - 1u,  // bit i: the neighbour along direction i is solid
  EDGE = 1u << 27,          // first or last cell of the periodic direction
  MAIN = 1u << 28,          // inside the main pipe
  BRANCH = 1u << 29,        // beyond the crown plane
  HOLDB = 1u << 30,         // second scalar held at 1 here
  COLD = 1u << 31           // walls touching this cell are at temperature 0 (else adiabatic)
};
constexpr float SOLID_T = -9.f;  // marks solid cells in the scalar arrays
constexpr int NQ = 23;           // plane sums, see stat_cell

struct P {
  int nx, ny, nz, nf;
  size_t N;
  const int* node;
  const unsigned* flag;
  const int* bq;
  const float* Q;
  const float* src;
  float* dst;
  float4* u4;
  float* nut;
  const float2* Ta;
  float2* Tb;
  float2* L;
  float4* low;  // acceleration by unequal density and dilatation of the gas: see lightness
  float cold;   // of the gas at the branch's wall over the main gas's, absolute temperatures; 1: one density
  float nu, iPr, iPrt, cw2;
  float gx, fz, bx, by, bz, tref;  // accelerations: main, tone along the branch, buoyancy times (T - tref)
  float drho, rref, smax, uxsrc, dt, ab;
  int zs0, zs1, write, holdA, everywhere;
};

#ifdef CPU
static inline int count(const P& p) { return p.nf; }
#else
__host__ __device__ inline int count(const P& p) { return p.nf; }
#endif

D_ constexpr int CX(int i) { return i % 3 - 1; }
D_ constexpr int CY(int i) { return (i / 3) % 3 - 1; }
D_ constexpr int CZ(int i) { return i / 9 - 1; }
D_ constexpr float W1(int c) { return c == 0 ? 2.f / 3.f : 1.f / 6.f; }
D_ constexpr float WT(int i) { return W1(CX(i)) * W1(CY(i)) * W1(CZ(i)); }

D_ void back1(float& a, float& b, float& c, float u) {
  float k0 = a, k1 = b, k2 = c, uu = u * u;
  b = k0 * (1.f - uu) - 2.f * u * k1 - k2;
  a = 0.5f * (k0 * (uu - u) + k1 * (2.f * u - 1.f) + k2);
  c = 0.5f * (k0 * (uu + u) + k1 * (2.f * u + 1.f) + k2);
}

// Populations less their weights from density, velocity, second central moments and half force.
D_ void recon(float r, float u, float v, float w, float sxx, float syy, float szz, float sxy, float sxz,
              float syz, float fx, float fy, float fz, float* f) {
  const float c2 = 1.f / 3.f, c4 = 1.f / 9.f, c6 = 1.f / 27.f;
  f[0] = r; f[1] = fx; f[2] = sxx;
  f[3] = fy; f[4] = sxy; f[5] = c2 * fy;
  f[6] = syy; f[7] = c2 * fx; f[8] = c2 * (sxx + syy) - c4 * r;
  f[9] = fz; f[10] = sxz; f[11] = c2 * fz;
  f[12] = syz; f[13] = 0.f; f[14] = c2 * syz;
  f[15] = c2 * fz; f[16] = c2 * sxz; f[17] = c4 * fz;
  f[18] = szz; f[19] = c2 * fx; f[20] = c2 * (sxx + szz) - c4 * r;
  f[21] = c2 * fy; f[22] = c2 * sxy; f[23] = c4 * fy;
  f[24] = c2 * (syy + szz) - c4 * r; f[25] = c4 * fx; f[26] = c4 * (sxx + syy + szz) - 2.f * c6 * r;
#pragma unroll
  for (int i = 0; i < 9; i++) back1(f[i], f[i + 9], f[i + 18], w);
#pragma unroll
  for (int c = 0; c < 3; c++)
#pragma unroll
    for (int a = 0; a < 3; a++) back1(f[9 * c + a], f[9 * c + a + 3], f[9 * c + a + 6], v);
#pragma unroll
  for (int c = 0; c < 9; c++) back1(f[3 * c], f[3 * c + 1], f[3 * c + 2], u);
#pragma unroll
  for (int i = 0; i < 27; i++) f[i] -= WT(i);
}

// Density is that of the main gas over `lightness`, the absolute temperature over the main gas's (one pressure).
// The lattice holds pressure in its density: what Du/Dt = -grad p (lightness) asks for beyond -grad p is a force,
// and gas that conducts heat to a wall shrinks: div u = div(alpha grad lightness).
D_ float lightness(const P& p, float t) { return p.cold + (1.f - p.cold) * t; }

D_ void step_node(const P& p, int k) {
  const int n = p.node[k];
  const unsigned fl = p.flag[k];
  const int sy = p.nx, sz = p.nx * p.ny;
  int xm = -1, xp = 1;
  if (fl & EDGE) {
    int x = n % p.nx;
    if (x == 0) xm += p.nx;
    if (x == p.nx - 1) xp -= p.nx;
  }
  float f[27];
#pragma unroll
  for (int i = 0; i < 27; i++) {
    const int o = 26 - i;
    if (!((fl >> o) & 1u)) {
      int m = n + (CX(i) == 1 ? xm : CX(i) == -1 ? xp : 0) - CY(i) * sy - CZ(i) * sz;
      f[i] = p.src[(size_t)i * p.N + m];
    } else {
      float q = p.Q[(size_t)p.bq[k] * 27 + o], fo = p.src[(size_t)o * p.N + n];
      if (q < 0.5f) {
        if (!((fl >> i) & 1u)) {
          int m = n + (CX(i) == -1 ? xm : CX(i) == 1 ? xp : 0) + CY(i) * sy + CZ(i) * sz;
          f[i] = 2.f * q * fo + (1.f - 2.f * q) * p.src[(size_t)o * p.N + m];
        } else f[i] = fo;
      } else {
        float h = 0.5f / q;
        f[i] = h * fo + (1.f - h) * p.src[(size_t)i * p.N + n];
      }
    }
  }
  float dr = 0, jx = 0, jy = 0, jz = 0, pxx = 0, pyy = 0, pzz = 0, pxy = 0, pxz = 0, pyz = 0;
#pragma unroll
  for (int i = 0; i < 27; i++) {
    dr += f[i];
    if (CX(i)) { jx += CX(i) * f[i]; pxx += f[i]; }
    if (CY(i)) { jy += CY(i) * f[i]; pyy += f[i]; }
    if (CZ(i)) { jz += CZ(i) * f[i]; pzz += f[i]; }
    if (CX(i) * CY(i)) pxy += CX(i) * CY(i) * f[i];
    if (CX(i) * CZ(i)) pxz += CX(i) * CZ(i) * f[i];
    if (CY(i) * CZ(i)) pyz += CY(i) * CZ(i) * f[i];
  }
  float r = 1.f + dr, ir = 1.f / r, hx = 0, hy = 0, hz = 0, sig = 0, grows = 0, light = 1.f;
  if (p.cold < 1.f) {
    float4 a = p.low[n];
    hx = 0.5f * r * a.x; hy = 0.5f * r * a.y; hz = 0.5f * r * a.z; grows = a.w;
    light = lightness(p, p.Ta[n].y);
  }
  if (fl & MAIN) hx += 0.5f * r * p.gx * light;
  const float fed = p.everywhere || (fl & MAIN) ? p.drho : 0.f;
  if (fl & BRANCH) {
    float t = p.Ta[n].x - p.tref;
    hx += 0.5f * r * p.bx * t;
    hy += 0.5f * r * p.by * t;
    hz += 0.5f * r * (p.bz * t + p.fz * light);
    int z = n / sz;
    if (z > p.zs0) { float a = float(z - p.zs0) / float(p.zs1 - p.zs0); sig = p.smax * a * a; }
  }
  float u = (jx + hx) * ir, v = (jy + hy) * ir, w = (jz + hz) * ir;
  const float c2 = 1.f / 3.f;
  float om = 1.f / (0.5f + 3.f * (p.nu + p.nut[n])), a = 1.f - om;
  float nxx = pxx - r * u * u - c2 * dr, nyy = pyy - r * v * v - c2 * dr, nzz = pzz - r * w * w - c2 * dr;
  float tr = c2 * (nxx + nyy + nzz), eq = c2 * r;
  float sxx = eq + a * (nxx - tr), syy = eq + a * (nyy - tr), szz = eq + a * (nzz - tr);
  float sxy = a * (pxy - r * u * v), sxz = a * (pxz - r * u * w), syz = a * (pyz - r * v * w);
  if (p.write) p.u4[n] = make_float4(u, v, w, dr);
  recon(r, u, v, w, sxx, syy, szz, sxy, sxz, syz, hx, hy, hz, f);
#pragma unroll
  for (int i = 0; i < 27; i++)
    p.dst[(size_t)i * p.N + n] = f[i] + WT(i) * fed + (WT(i) + f[i]) * grows - sig * (f[i] - WT(i) * p.rref);
}

struct Axes { int n[6]; unsigned solid; float q[6]; };  // order -x +x -y +y -z +z
D_ Axes axes(const P& p, int k, int n, unsigned fl) {
  Axes s;
  const int sy = p.nx, sz = p.nx * p.ny;
  s.n[0] = n - 1; s.n[1] = n + 1;
  if (fl & EDGE) {
    int x = n % p.nx;
    if (x == 0) s.n[0] += p.nx;
    if (x == p.nx - 1) s.n[1] -= p.nx;
  }
  s.n[2] = n - sy; s.n[3] = n + sy; s.n[4] = n - sz; s.n[5] = n + sz;
  const int dir[6] = {12, 14, 10, 16, 4, 22};
  s.solid = 0;
#pragma unroll
  for (int j = 0; j < 6; j++) {
    s.q[j] = 1.f;
    if ((fl >> dir[j]) & 1u) {
      s.solid |= 1u << j;
      s.q[j] = fmaxf(p.Q[(size_t)p.bq[k] * 27 + dir[j]], 0.1f);
    }
  }
  return s;
}

D_ float diff3(float m, float c, float e, float qm, float qp) {  // first derivative on unequal steps
  return (-qp / (qm * (qm + qp))) * m + ((qp - qm) / (qp * qm)) * c + (qm / (qp * (qm + qp))) * e;
}

D_ void wale_node(const P& p, int k) {
  const int n = p.node[k];
  const unsigned fl = p.flag[k];
  Axes s = axes(p, k, n, fl);
  float4 c = p.u4[n];
  float g[3][3];
#pragma unroll
  for (int j = 0; j < 3; j++) {
    float4 z = make_float4(0, 0, 0, 0);
    float4 m = (s.solid >> (2 * j)) & 1u ? z : p.u4[s.n[2 * j]];
    float4 e = (s.solid >> (2 * j + 1)) & 1u ? z : p.u4[s.n[2 * j + 1]];
    float a = s.q[2 * j], b = s.q[2 * j + 1];
    g[0][j] = diff3(m.x, c.x, e.x, a, b);
    g[1][j] = diff3(m.y, c.y, e.y, a, b);
    g[2][j] = diff3(m.z, c.z, e.z, a, b);
  }
  float g2[3][3], tr = 0, ss = 0, dd = 0;
#pragma unroll
  for (int i = 0; i < 3; i++)
#pragma unroll
    for (int j = 0; j < 3; j++) g2[i][j] = g[i][0] * g[0][j] + g[i][1] * g[1][j] + g[i][2] * g[2][j];
  tr = (g2[0][0] + g2[1][1] + g2[2][2]) / 3.f;
#pragma unroll
  for (int i = 0; i < 3; i++)
#pragma unroll
    for (int j = 0; j < 3; j++) {
      float a = 0.5f * (g[i][j] + g[j][i]), b = 0.5f * (g2[i][j] + g2[j][i]) - (i == j ? tr : 0.f);
      ss += a * a;
      dd += b * b;
    }
  float den = powf(ss, 2.5f) + powf(dd, 1.25f);
  p.nut[n] = den > 1e-30f ? p.cw2 * powf(dd, 1.5f) / den : 0.f;
}

D_ float koren(float u, float mm, float m, float c, float e) {  // face value between m and c (u > 0 leaves m)
  float tu = u > 0 ? m : c, td = u > 0 ? c : m, tuu = u > 0 ? mm : e;
  float d = td - tu, phi = 1.f;
  if (tuu > -5.f) {
    float b = tu - tuu, r = fabsf(d) > 1e-12f ? b / d : 0.f;
    phi = fmaxf(0.f, fminf(2.f * r, fminf((1.f + 2.f * r) / 3.f, 2.f)));
  }
  return tu + 0.5f * phi * d;
}

D_ void scalar_node(const P& p, int k) {
  const int n = p.node[k];
  const unsigned fl = p.flag[k];
  if (p.holdA && (fl & MAIN) && (fl & HOLDB)) { p.Tb[n] = make_float2(1.f, 1.f); return; }
  float slope[3], spread = 0, spread_a = 0;
  Axes s = axes(p, k, n, fl);
  const int st[3] = {1, p.nx, p.nx * p.ny};
  float4 uc = p.u4[n];
  float2 c = p.Ta[n];
  const float mol = p.nu * p.iPr, ac = mol + p.nut[n] * p.iPrt;
  float La = 0, Lb = 0;
#pragma unroll
  for (int j = 0; j < 3; j++) {
    float ma = 0, mb = 0, ea = 0, eb = 0, ul = 0, ur = 0, al = mol + 0.5f * (ac - mol), ar = al;
    float dla = 0, dlb = 0, dra = 0, drb = 0;
    const bool sm = (s.solid >> (2 * j)) & 1u, sp = (s.solid >> (2 * j + 1)) & 1u;
    const float uj = j == 0 ? uc.x : j == 1 ? uc.y : uc.z;
    float2 m = make_float2(SOLID_T, SOLID_T), e = m, mm = m, ee = m;
    int nm = s.n[2 * j], np = s.n[2 * j + 1];
    if (!sm) {
      m = p.Ta[nm];
      float4 q = p.u4[nm];
      ul = 0.5f * (uj + (j == 0 ? q.x : j == 1 ? q.y : q.z));
      al = 0.5f * (ac + mol + p.nut[nm] * p.iPrt);
      if (j > 0 || !(fl & EDGE)) { int q2 = nm - st[j]; if (q2 >= 0) mm = p.Ta[q2]; }
    }
    if (!sp) {
      e = p.Ta[np];
      float4 q = p.u4[np];
      ur = 0.5f * (uj + (j == 0 ? q.x : j == 1 ? q.y : q.z));
      ar = 0.5f * (ac + mol + p.nut[np] * p.iPrt);
      if (j > 0 || !(fl & EDGE)) { int q2 = np + st[j]; if ((size_t)q2 < p.N) ee = p.Ta[q2]; }
    }
    if (!sm) {
      ma = koren(ul, mm.x, m.x, c.x, e.x); mb = koren(ul, mm.y, m.y, c.y, e.y);
      dla = al * (m.x - c.x); dlb = al * (m.y - c.y);
      La += ul * (ma - c.x); Lb += ul * (mb - c.y);
    } else if (fl & COLD) { dla = -al * c.x / s.q[2 * j]; dlb = -al * c.y / s.q[2 * j]; }
    if (!sp) {
      ea = koren(-ur, ee.x, e.x, c.x, m.x); eb = koren(-ur, ee.y, e.y, c.y, m.y);
      dra = ar * (e.x - c.x); drb = ar * (e.y - c.y);
      La -= ur * (ea - c.x); Lb -= ur * (eb - c.y);
    } else if (fl & COLD) { dra = -ar * c.x / s.q[2 * j + 1]; drb = -ar * c.y / s.q[2 * j + 1]; }
    const float wgt = fl & COLD ? 2.f / (s.q[2 * j] + s.q[2 * j + 1]) : 1.f;
    spread_a += wgt * (dla + dra); spread += wgt * (dlb + drb);
    const float before = sm ? uc.w : p.u4[nm].w, after = sp ? uc.w : p.u4[np].w;
    slope[j] = sm && sp ? 0.f : (after - before) / (sm || sp ? 1.f : 2.f);
  }
  const float light = lightness(p, c.y);
  La += light * spread_a; Lb += light * spread;
  if (p.cold < 1.f) {
    const float lacks = (1.f - light) / 3.f / (1.f + uc.w);
    p.low[n] = make_float4(lacks * slope[0], lacks * slope[1], lacks * slope[2], (1.f - p.cold) * spread);
  }
  La += p.uxsrc * uc.x;
  float2 o = p.L[k];
  p.L[k] = make_float2(La, Lb);
  float2 t = make_float2(c.x + p.dt * (La + p.ab * (La - o.x)), c.y + p.dt * (Lb + p.ab * (Lb - o.y)));
  if (p.holdA && (fl & MAIN)) t.x = 1.f;
  p.Tb[n] = t;
}

// Sums over a plane. 0 cells 1 drho 2 rho w 3 TA 4 TB 5 rho w TA 6 rho w TB 7 w2 8 u2+v2 9,10 -alpha dT/dz
// 11,12 heat to the wall (A, B) 13 u 14 u TA 15 u in main 16 main cells 17 TA2 18 nut; 19-21 are products of sums 22 w over lightness: mass
D_ void stat_cell(const P& p, int k, float* v) {
  const int n = p.node[k];
  const unsigned fl = p.flag[k];
  Axes s = axes(p, k, n, fl);
  float4 u = p.u4[n];
  float2 t = p.Ta[n];
  float r = 1.f + u.w, al = p.nu * p.iPr + p.nut[n] * p.iPrt;
  v[0] += 1.f; v[1] += u.w; v[2] += r * u.z; v[3] += t.x; v[4] += t.y;
  v[5] += r * u.z * t.x; v[6] += r * u.z * t.y; v[7] += u.z * u.z; v[8] += u.x * u.x + u.y * u.y;
  if (!(s.solid & 48u)) {
    float2 a = p.Ta[s.n[4]], b = p.Ta[s.n[5]];
    v[9] -= 0.5f * al * (b.x - a.x); v[10] -= 0.5f * al * (b.y - a.y);
  }
  if (fl & COLD) {  // what the scalar's diffusion step takes out of the cell beyond exchange with its neighbours
    const float mol = p.nu * p.iPr, aw = mol + 0.5f * (al - mol);
    for (int j = 0; j < 4; j += 2) {  // walls met across the branch (the cap is left out)
      if (!((s.solid >> j) & 3u)) continue;
      const float wgt = 2.f / (s.q[j] + s.q[j + 1]);
      for (int e = j; e < j + 2; e++) {
        if ((s.solid >> e) & 1u) { v[11] += wgt * aw * t.x / s.q[e]; v[12] += wgt * aw * t.y / s.q[e]; continue; }
        float2 o = p.Ta[s.n[e]];
        float af = 0.5f * (al + mol + p.nut[s.n[e]] * p.iPrt) * (wgt - 1.f);
        v[11] -= af * (o.x - t.x); v[12] -= af * (o.y - t.y);
      }
    }
  }
  v[13] += u.x; v[14] += u.x * t.x;
  if (fl & MAIN) { v[15] += u.x; v[16] += 1.f; }
  v[17] += t.x * t.x; v[18] += p.nut[n]; v[22] += r * u.z / lightness(p, t.y);
}
