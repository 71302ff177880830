//go:build embree

package embree

/*
#cgo LDFLAGS: -lembree3 -lm
#cgo CFLAGS: -O3 -march=native
#include <embree3/rtcore.h>
#include <math.h>
#include <stdlib.h>
#include <time.h>

typedef struct { const float *v; const unsigned *t; } geo;
typedef struct { const geo *g; float best; int tri; } found;

static float dot(const float *a, const float *b) { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2]; }
static void sub(float *r, const float *a, const float *b) { for (int i = 0; i < 3; i++) r[i] = a[i] - b[i]; }

// Squared distance by the seven regions of the plane around a triangle.
static float distance2(const float *p, const float *a, const float *b, const float *c) {
	float ab[3], ac[3], ap[3], bp[3], cp[3];
	sub(ab, b, a); sub(ac, c, a); sub(ap, p, a);
	float a1 = dot(ab, ap), a2 = dot(ac, ap), v, w;
	if (a1 <= 0 && a2 <= 0) { v = 0; w = 0; goto done; }
	sub(bp, p, b);
	float b1 = dot(ab, bp), b2 = dot(ac, bp);
	if (b1 >= 0 && b2 <= b1) { v = 1; w = 0; goto done; }
	float vc = a1*b2 - b1*a2;
	if (vc <= 0 && a1 >= 0 && b1 <= 0) { v = a1/(a1 - b1); w = 0; goto done; }
	sub(cp, p, c);
	float c1 = dot(ab, cp), c2 = dot(ac, cp);
	if (c2 >= 0 && c1 <= c2) { v = 0; w = 1; goto done; }
	float vb = c1*a2 - a1*c2;
	if (vb <= 0 && a2 >= 0 && c2 <= 0) { v = 0; w = a2/(a2 - c2); goto done; }
	float va = b1*c2 - c1*b2;
	if (va <= 0 && b2 - b1 >= 0 && c1 - c2 >= 0) { w = (b2 - b1)/((b2 - b1) + (c1 - c2)); v = 1 - w; goto done; }
	float k = 1/(va + vb + vc); v = vb*k; w = vc*k;
done:;
	float d[3];
	for (int i = 0; i < 3; i++) d[i] = ap[i] - v*ab[i] - w*ac[i];
	return dot(d, d);
}

static float triangle2(const geo *g, int t, const float *p) {
	const unsigned *k = g->t + 3*(size_t)t;
	return distance2(p, g->v + 3*(size_t)k[0], g->v + 3*(size_t)k[1], g->v + 3*(size_t)k[2]);
}

static bool visit(struct RTCPointQueryFunctionArguments *args) {
	found *f = (found *)args->userPtr;
	float p[3] = {args->query->x, args->query->y, args->query->z};
	float d = triangle2(f->g, args->primID, p);
	if (d < f->best) {
		f->best = d; f->tri = args->primID;
		args->query->radius = sqrtf(d);
		return true;
	}
	return false;
}

static void closest(RTCScene scene, const geo *g, const float *p, int n, int warm, int *tri, float *dist) {
	int last = -1;
	for (int i = 0; i < n; i++, p += 3) {
		found f = {g, INFINITY, -1};
		struct RTCPointQuery q = {p[0], p[1], p[2], 0, INFINITY};
		if (warm && last >= 0) {
			f.best = triangle2(g, last, p); f.tri = last;
			q.radius = sqrtf(f.best);
		}
		struct RTCPointQueryContext ctx;
		rtcInitPointQueryContext(&ctx);
		rtcPointQuery(scene, &q, &ctx, visit, &f);
		tri[i] = last = f.tri; dist[i] = sqrtf(f.best);
	}
}

static void trace(RTCScene scene, const float *r, int n, int *tri, float *dist) {
	for (int i = 0; i < n; i++, r += 6) {
		struct RTCRayHit h = {0};
		h.ray.org_x = r[0]; h.ray.org_y = r[1]; h.ray.org_z = r[2];
		h.ray.dir_x = r[3]; h.ray.dir_y = r[4]; h.ray.dir_z = r[5];
		h.ray.tfar = INFINITY; h.ray.mask = -1;
		h.hit.geomID = RTC_INVALID_GEOMETRY_ID;
		struct RTCIntersectContext ctx;
		rtcInitIntersectContext(&ctx);
		rtcIntersect1(scene, &ctx, &h);
		tri[i] = h.hit.geomID == RTC_INVALID_GEOMETRY_ID ? -1 : (int)h.hit.primID;
		dist[i] = h.ray.tfar;
	}
}

static RTCScene build(RTCDevice dev, const geo *g, int nv, int nt) {
	RTCGeometry geom = rtcNewGeometry(dev, RTC_GEOMETRY_TYPE_TRIANGLE);
	rtcSetSharedGeometryBuffer(geom, RTC_BUFFER_TYPE_VERTEX, 0, RTC_FORMAT_FLOAT3, g->v, 0, 12, nv);
	rtcSetSharedGeometryBuffer(geom, RTC_BUFFER_TYPE_INDEX, 0, RTC_FORMAT_UINT3, g->t, 0, 12, nt);
	rtcSetGeometryBuildQuality(geom, RTC_BUILD_QUALITY_HIGH);
	rtcCommitGeometry(geom);
	RTCScene scene = rtcNewScene(dev);
	rtcSetSceneBuildQuality(scene, RTC_BUILD_QUALITY_HIGH);
	rtcSetSceneFlags(scene, RTC_SCENE_FLAG_ROBUST);
	rtcAttachGeometry(scene, geom);
	rtcReleaseGeometry(geom);
	rtcCommitScene(scene);
	return scene;
}

static double cpu(void) {
	struct timespec t;
	clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
	return t.tv_sec + 1e-9*t.tv_nsec;
}
*/
import "C"

import "unsafe"

// Scene is a mesh in an Embree scene of the best build quality, one thread,
// robust flag set.
type Scene struct {
	dev   C.RTCDevice
	scene C.RTCScene
	geo   *C.geo
}

// New builds a scene. vertices holds three figures each, triangles three
// indices each.
func New(vertices []float32, triangles []uint32) *Scene {
	s := &Scene{geo: (*C.geo)(C.calloc(1, C.size_t(unsafe.Sizeof(C.geo{}))))}
	// One float more: Embree reads vertices in fours.
	v := C.calloc(C.size_t(len(vertices)+4), 4)
	copy(unsafe.Slice((*float32)(v), len(vertices)), vertices)
	t := C.calloc(C.size_t(len(triangles)), 4)
	copy(unsafe.Slice((*uint32)(t), len(triangles)), triangles)
	s.geo.v, s.geo.t = (*C.float)(v), (*C.uint)(t)
	config := C.CString("threads=1,set_affinity=0")
	defer C.free(unsafe.Pointer(config))
	s.dev = C.rtcNewDevice(config)
	s.scene = C.build(s.dev, s.geo, C.int(len(vertices)/3), C.int(len(triangles)/3))
	return s
}

// Close frees the scene.
func (s *Scene) Close() {
	C.rtcReleaseScene(s.scene)
	C.rtcReleaseDevice(s.dev)
	C.free(unsafe.Pointer(s.geo.v))
	C.free(unsafe.Pointer(s.geo.t))
	C.free(unsafe.Pointer(s.geo))
}

// Closest answers closest-point queries, three figures a point; warm starts
// each from the last answer's triangle.
func (s *Scene) Closest(points []float32, warm bool, tri []int32, dist []float32) {
	w := C.int(0)
	if warm {
		w = 1
	}
	C.closest(s.scene, s.geo, (*C.float)(&points[0]), C.int(len(points)/3), w, (*C.int)(&tri[0]), (*C.float)(&dist[0]))
}

// Rays answers ray queries, six figures a ray: origin, direction.
func (s *Scene) Rays(rays []float32, tri []int32, dist []float32) {
	C.trace(s.scene, (*C.float)(&rays[0]), C.int(len(rays)/6), (*C.int)(&tri[0]), (*C.float)(&dist[0]))
}

// CPU returns the processor time of the calling thread in seconds.
func CPU() float64 { return float64(C.cpu()) }
