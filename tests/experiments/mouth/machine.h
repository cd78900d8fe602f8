// What both experiments need of the machine: memory, launches, cases read as key=value words.
// The same source runs on a GPU (nvcc) and on a CPU (g++ -DCPU).
#pragma once
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <map>
#include <random>
#include <sstream>
#include <string>
#include <vector>
static double clock_s() { return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count(); }
#ifdef CPU
#define LAUNCH(fn, p) { auto q_ = p; const int n_ = count(q_); _Pragma("omp parallel for schedule(static)") for (int k = 0; k < n_; k++) fn(q_, k); }
static void* dalloc(size_t b) { return calloc(b, 1); }
static void dfree(void* a) { free(a); }
static void up(void* d, const void* h, size_t b) { memcpy(d, h, b); }
static void down(void* h, const void* d, size_t b) { memcpy(h, d, b); }
#else
static void ck(cudaError_t e, int l) { if (e != cudaSuccess) { fprintf(stderr, "CUDA %s, line %d\n", cudaGetErrorString(e), l); exit(2); } }
#define CK(x) ck((x), __LINE__)
#define KERN(fn, P_) __global__ void __launch_bounds__(128) g_##fn(P_ p) { int k = blockIdx.x * 128 + threadIdx.x; if (k < count(p)) fn(p, k); }
#define LAUNCH(fn, p) g_##fn<<<(count(p) + 127) / 128, 128>>>(p)
static void* dalloc(size_t b) { void* a; CK(cudaMalloc(&a, b)); CK(cudaMemset(a, 0, b)); return a; }
static void dfree(void* a) { CK(cudaFree(a)); }
static void up(void* d, const void* h, size_t b) { CK(cudaMemcpy(d, h, b, cudaMemcpyHostToDevice)); }
static void down(void* h, const void* d, size_t b) { CK(cudaMemcpy(h, d, b, cudaMemcpyDeviceToHost)); }
#endif

using Map = std::map<std::string, std::string>;
struct Case {
  Map m;
  double num(const char* k, double d) const { auto i = m.find(k); return i == m.end() ? d : std::stod(i->second); }
  std::string str(const char* k, const char* d) const { auto i = m.find(k); return i == m.end() ? d : i->second; }
};
template <class T> struct Buf {
  T* a = nullptr; size_t n = 0;
  void size(size_t k) { if (k != n) { if (a) dfree(a); a = (T*)dalloc(k * sizeof(T)); n = k; } }
};
