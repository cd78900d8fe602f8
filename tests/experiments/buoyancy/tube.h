// Heat in a closed tube: one scalar with wall temperatures by plane and sector, and what is summed over planes.
// The flow's cell updates are those of the mouth experiment (../mouth/lattice.h), without a subgrid model.
#pragma once
#include "../mouth/lattice.h"
constexpr int SECTORS = 16, NS = 9;

struct R {  // the flow's parameters and those of the heat
  P p;
  const unsigned char* sector;  // of every cell, by its angle
  const float* tw;              // wall temperature (plane, sector)
  float* qw;                    // heat given to the wall since last cleared (plane, sector)
  float alpha, reservoir;       // diffusivity; rate at which gas before plane zr is brought to 1
  float end_t[2];               // temperatures of both ends
  int zr, end_on[2], wall_on, cy2;  // is the end or the side wall at a temperature, or adiabatic; twice the axis's y
};
#ifdef CPU
static inline int count(const R& r) { return r.p.nf; }
static inline void add(float* a, float v) {
#pragma omp atomic
  *a += v;
}
#else
__host__ __device__ inline int count(const R& r) { return r.p.nf; }
__device__ inline void add(float* a, float v) { atomicAdd(a, v); }
#endif

D_ void flow_node(const R& r, int k) { step_node(r.p, k); }

// Finite volumes, Koren-limited third-order upwind, Adams-Bashforth 2, Shortley-Weller at the side wall.
D_ void heat_node(const R& r, int k) {
  const P& p = r.p;
  const int n = p.node[k], z = n / (p.nx * p.ny);
  const Axes s = axes(p, k, n, p.flag[k]);
  const int st[3] = {1, p.nx, p.nx * p.ny};
  const float4 uc = p.u4[n];
  const float c = p.Ta[n].x, al = r.alpha;
  const int where = z * SECTORS + r.sector[k];
  const float side = r.tw[where];
  float change = 0, lost = 0, stiff = 0;
#pragma unroll
  for (int j = 0; j < 3; j++) {
    const float uj = j == 0 ? uc.x : j == 1 ? uc.y : uc.z;
    const bool solid[2] = {bool((s.solid >> (2 * j)) & 1u), bool((s.solid >> (2 * j + 1)) & 1u)};
    const bool held[2] = {j < 2 ? bool(r.wall_on) : bool(r.end_on[0]), j < 2 ? bool(r.wall_on) : bool(r.end_on[1])};
    float t[2], tt[2], u[2], d[2];
    for (int e = 0; e < 2; e++) {
      const int m = s.n[2 * j + e];
      t[e] = tt[e] = SOLID_T; u[e] = 0;
      if (solid[e]) continue;
      const float4 q = p.u4[m];
      t[e] = p.Ta[m].x;
      u[e] = 0.5f * (uj + (j == 0 ? q.x : j == 1 ? q.y : q.z));
      const int far = m + (e ? st[j] : -st[j]);
      if (far >= 0 && (size_t)far < p.N) tt[e] = p.Ta[far].x;
    }
    float wgt = 1.f;  // Shortley-Weller's, where a wall at a temperature is near
    if ((solid[0] && held[0]) || (solid[1] && held[1])) wgt = 2.f / (s.q[2 * j] + s.q[2 * j + 1]);
    for (int e = 0; e < 2; e++) {
      d[e] = 0;
      if (!solid[e]) {
        const float face = e ? koren(-u[1], tt[1], t[1], c, t[0]) : koren(u[0], tt[0], t[0], c, t[1]);
        change += (e ? -u[1] : u[0]) * (face - c);
        d[e] = al * (t[e] - c);
        if (j < 2) lost -= (wgt - 1.f) * d[e];  // exchange with a neighbour which the neighbour does not see
      } else if (held[e]) {
        d[e] = al * ((j < 2 ? side : r.end_t[e]) - c) / s.q[2 * j + e];
        stiff += wgt * al / s.q[2 * j + e];
        if (j < 2) lost -= wgt * d[e];
      }
    }
    change += wgt * (d[0] + d[1]);
  }
  if (z < r.zr) change += r.reservoir * (1.f - c);
  if (lost != 0.f) add(r.qw + where, lost * p.dt);
  const float old = p.L[k].x;
  p.L[k].x = change;
  // Cells with a wall close by are stiff: their own part is taken implicitly, which a steady state does not feel.
  p.Tb[n] = make_float2(c + p.dt * (change + p.ab * (change - old)) / (1.f + p.dt * stiff), 0.f);
}

// Sums over a plane: 0 cells, 1 w, 2 T, 3 w T, 4 w², 5 u² + v², 6 -α dT/dz, 7 T y, 8 w y (y from the axis)
D_ void sum_cell(const R& r, int k, float* v) {
  const P& p = r.p;
  const int n = p.node[k], plane = p.nx * p.ny;
  const float4 u = p.u4[n];
  const float t = p.Ta[n].x, y = (n / p.nx) % p.ny - 0.5f * r.cy2;
  v[0] += 1.f; v[1] += u.z; v[2] += t; v[3] += u.z * t; v[4] += u.z * u.z; v[5] += u.x * u.x + u.y * u.y;
  const float a = p.Ta[n - plane].x, b = p.Ta[n + plane].x;
  if (a > -5.f && b > -5.f) v[6] -= 0.5f * r.alpha * (b - a);
  v[7] += t * y; v[8] += u.z * y;
}
