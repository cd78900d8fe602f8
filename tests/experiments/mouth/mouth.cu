// Driver: reads cases (key=value words, one case a line), runs them in order, writes one JSON line a case.
// Build: nvcc -O3 -arch=sm_90 -std=c++17 -o mouth mouth.cu   or   g++ -O3 -march=native -fopenmp -DCPU -x c++ mouth.cu
// Run:   ./mouth cases.txt results.jsonl [seconds allowed]
#include "lattice.h"
#include "machine.h"
#ifndef CPU
KERN(step_node, P) KERN(wale_node, P) KERN(scalar_node, P)
__global__ void g_stat(P p, const int* start, double* acc, float* now) {
  __shared__ float sh[8][NQ];
  const int z = blockIdx.x;
  float v[NQ];
  for (int q = 0; q < NQ; q++) v[q] = 0;
  for (int k = start[z] + threadIdx.x; k < start[z + 1]; k += 256) stat_cell(p, k, v);
#pragma unroll
  for (int q = 0; q < NQ; q++)
    for (int o = 16; o; o >>= 1) v[q] += __shfl_down_sync(~0u, v[q], o);
  if (threadIdx.x % 32 == 0) for (int q = 0; q < NQ; q++) sh[threadIdx.x / 32][q] = v[q];
  __syncthreads();
  if (threadIdx.x) return;
  for (int q = 0; q < NQ; q++) { v[q] = 0; for (int i = 0; i < 8; i++) v[q] += sh[i][q]; }
  float c = fmaxf(v[0], 1.f);
  v[19] = v[2] * v[2] / c; v[20] = v[2] * v[3] / c; v[21] = v[2] * v[4] / c;
  for (int q = 0; q < NQ; q++) { acc[z * NQ + q] += v[q]; now[z * NQ + q] = v[q]; }
}
__global__ void g_sections(P p, const int* list, const int* start, float* sums) {
  __shared__ float sh[3];
  if (threadIdx.x < 3) sh[threadIdx.x] = 0;
  __syncthreads();
  float v[3] = {0, 0, 0};
  for (int k = start[blockIdx.x] + threadIdx.x; k < start[blockIdx.x + 1]; k += blockDim.x) {
    float4 u = p.u4[p.node[list[k]]];
    v[0] += 1.f; v[1] += u.w; v[2] += u.x;
  }
  for (int q = 0; q < 3; q++) atomicAdd(&sh[q], v[q]);
  __syncthreads();
  if (threadIdx.x < 3) sums[3 * blockIdx.x + threadIdx.x] = sh[threadIdx.x];
}
__global__ void g_init(P p, const float4* m) {
  int k = blockIdx.x * 128 + threadIdx.x;
  if (k >= p.nf) return;
  float f[27]; float4 a = m[k]; float r = 1.f + a.w, e = r / 3.f;
  recon(r, a.x, a.y, a.z, e, e, e, 0, 0, 0, 0, 0, 0, f);
  for (int i = 0; i < 27; i++) p.dst[(size_t)i * p.N + p.node[k]] = f[i];
}
#endif

constexpr int SECTIONS = 36;  // of the main pipe's period, evenly
struct Sim {
  int d = 0, nx, ny, nz, pipe; double Lx, Lb, rb; size_t N = 0;
  double cy, x0, crown, Rb;
  std::vector<int> node, start, bq; std::vector<unsigned> flag; std::vector<float> Q;
  Buf<int> dn, dbq, dst_; Buf<unsigned> df; Buf<float> dQ, f[2], nut; Buf<float4> u4; Buf<float2> T[2], L; Buf<float4> low;
  Buf<double> acc; Buf<float> now; int cur = 0, tc = 0;
  std::vector<int> sec, sec0; Buf<int> dsec, dsec0; Buf<float> secs;  // cells of the main pipe's sections
  int section(int i) const { return int((i + 0.5) * nx / SECTIONS); }
  bool inside(double x, double y, double z) const {
    double a = y - cy, b = z - cy;
    if (a * a + b * b < 0.25 * d * d) return true;
    double s = z - crown, c = x - x0;
    return !pipe && z > cy && s < Lb * 2 * Rb && c * c + a * a < Rb * Rb;
  }
  bool same(int d_, double lx, double lb, double r, int p) const { return d == d_ && Lx == lx && Lb == lb && rb == r && pipe == p; }
  void build(int d_, double lx, double lb, double r, int pi) {
    d = d_; Lx = lx; Lb = lb; rb = r; pipe = pi;
    nx = int(lx * d + 0.5); ny = d + 4; cy = 0.5 * (ny - 1); Rb = 0.5 * r * d; x0 = 0.5 * (nx - 1);
    crown = cy + 0.5 * d; nz = pi ? ny : int(crown + lb * 2 * Rb) + 4; N = (size_t)nx * ny * nz;
    node.clear(); flag.clear(); bq.clear(); Q.clear(); start.assign(nz + 1, 0);
    std::vector<char> in(N, 0);
#pragma omp parallel for
    for (int z = 1; z < nz - 1; z++) for (int y = 1; y < ny - 1; y++) for (int x = 0; x < nx; x++)
      in[x + (size_t)nx * (y + (size_t)ny * z)] = inside(x, y, z);
    for (int z = 0; z < nz; z++) {
      start[z] = (int)node.size();
      for (int y = 0; y < ny; y++) for (int x = 0; x < nx; x++) {
        size_t n = x + (size_t)nx * (y + (size_t)ny * z);
        if (!in[n]) continue;
        unsigned fl = 0; double a = y - cy, b = z - cy;
        for (int i = 0; i < 27; i++) {
          int X = (x + i % 3 - 1 + nx) % nx, Y = y + (i / 3) % 3 - 1, Z = z + i / 9 - 1;
          if (!in[X + (size_t)nx * (Y + (size_t)ny * Z)]) fl |= 1u << i;
        }
        int id = -1;
        if (fl & LINKS) {
          id = (int)(Q.size() / 27); Q.resize(Q.size() + 27, 1.f);
          for (int i = 0; i < 27; i++) if ((fl >> i) & 1u) {
            double lo = 0, hi = 1;
            for (int it = 0; it < 22; it++) { double q = 0.5 * (lo + hi); (inside(x + q * (i % 3 - 1), y + q * ((i / 3) % 3 - 1), z + q * (i / 9 - 1)) ? lo : hi) = q; }
            Q[(size_t)id * 27 + i] = fmax(0.5 * (lo + hi), 1e-3);
          }
        }
        if (x < 2 || x > nx - 3) fl |= EDGE;
        if (a * a + b * b < 0.25 * d * d) { fl |= MAIN; if (fabs(x - x0) > Rb + 0.35 * d) fl |= HOLDB; }
        if (!pi && z > crown) fl |= BRANCH | COLD;
        if (pi) fl |= COLD;
        node.push_back((int)n); flag.push_back(fl); bq.push_back(id);
      }
    }
    start[nz] = (int)node.size();
    size_t nf = node.size();
    dn.size(nf); df.size(nf); dbq.size(nf); dst_.size(nz + 1); dQ.size(Q.size());
    up(dn.a, node.data(), nf * 4); up(df.a, flag.data(), nf * 4); up(dbq.a, bq.data(), nf * 4);
    up(dst_.a, start.data(), (nz + 1) * 4); up(dQ.a, Q.data(), Q.size() * 4);
    for (int i = 0; i < 2; i++) { f[i].size(27 * N); T[i].size(N); }
    sec.clear(); sec0.assign(1, 0);
    for (int i = 0; i < SECTIONS; i++) {
      for (size_t k = 0; k < nf; k++) if ((flag[k] & MAIN) && node[k] % nx == section(i)) sec.push_back((int)k);
      sec0.push_back((int)sec.size());
    }
    dsec.size(sec.size()); dsec0.size(sec0.size()); secs.size(3 * SECTIONS);
    up(dsec.a, sec.data(), sec.size() * 4); up(dsec0.a, sec0.data(), sec0.size() * 4);
    nut.size(N); u4.size(N); low.size(N); L.size(nf); acc.size((size_t)nz * NQ); now.size((size_t)nz * NQ); cur = tc = 0;
  }
  P params(double nu) {
    P p; memset(&p, 0, sizeof p);
    p.nx = nx; p.ny = ny; p.nz = nz; p.nf = (int)node.size(); p.N = N; p.node = dn.a; p.flag = df.a; p.bq = dbq.a; p.Q = dQ.a;
    p.u4 = u4.a; p.nut = nut.a; p.L = L.a; p.low = low.a; p.cold = 1.f; p.everywhere = 1; p.nu = nu; p.iPr = 1 / 0.7f; p.iPrt = 1 / 0.85f; p.cw2 = 0.325f * 0.325f;
    p.tref = 1.f; p.zs0 = 1 << 30; p.zs1 = (1 << 30) + 1; p.dt = 2.f; return p;
  }
  void start_from(P p, const std::vector<float4>& m, const std::vector<float2>& t) {
    p.dst = f[cur].a;
    std::vector<float2> T0(N, make_float2(SOLID_T, SOLID_T)); std::vector<float4> U(N, make_float4(0, 0, 0, 0));
    for (size_t k = 0; k < node.size(); k++) { T0[node[k]] = t[k]; U[node[k]] = m[k]; }
    up(T[0].a, T0.data(), N * 8); up(T[1].a, T0.data(), N * 8); up(u4.a, U.data(), N * 16); tc = 0;
#ifdef CPU
    for (int k = 0; k < p.nf; k++) {
      float g[27]; float4 a = m[k]; float r = 1.f + a.w, e = r / 3.f;
      recon(r, a.x, a.y, a.z, e, e, e, 0, 0, 0, 0, 0, 0, g);
      for (int i = 0; i < 27; i++) p.dst[(size_t)i * N + node[k]] = g[i];
    }
#else
    Buf<float4> b; b.size(m.size()); up(b.a, m.data(), m.size() * 16);
    g_init<<<(p.nf + 127) / 128, 128>>>(p, b.a); CK(cudaDeviceSynchronize()); dfree(b.a);
#endif
  }
  void stat(P p, float* host) {
#ifdef CPU
    for (int z = 0; z < nz; z++) {
      float v[NQ] = {0};
      for (int k = start[z]; k < start[z + 1]; k++) stat_cell(p, k, v);
      float c = fmaxf(v[0], 1.f); v[19] = v[2] * v[2] / c; v[20] = v[2] * v[3] / c; v[21] = v[2] * v[4] / c;
      for (int q = 0; q < NQ; q++) { acc.a[z * NQ + q] += v[q]; now.a[z * NQ + q] = v[q]; }
    }
#else
    g_stat<<<nz, 256>>>(p, dst_.a, acc.a, now.a); CK(cudaGetLastError());
#endif
    down(host, now.a, (size_t)nz * NQ * 4);
  }
};
// Sums over the main pipe's sections: cells, density's departure, velocity along the pipe.
static void sections(Sim& s, const P& p, std::vector<float>& host) {
  host.assign(3 * SECTIONS, 0.f);
#ifdef CPU
  for (int i = 0; i < SECTIONS; i++) for (int k = s.sec0[i]; k < s.sec0[i + 1]; k++) {
    float4 u = s.u4.a[s.node[s.sec[k]]];
    host[3 * i] += 1.f; host[3 * i + 1] += u.w; host[3 * i + 2] += u.x;
  }
#else
  g_sections<<<SECTIONS, 256>>>(p, s.dsec.a, s.dsec0.a, s.secs.a); CK(cudaGetLastError());
  down(host.data(), s.secs.a, host.size() * 4);
#endif
}
struct Snap { int d = 0, nx, ny, nz; double crown, x0, cy; std::vector<float> f; std::vector<float4> u; std::vector<float2> T; };
#include "harmonics.h"
#include "drive.h"
