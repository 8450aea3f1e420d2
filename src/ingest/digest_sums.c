/* Sums and products of three axes, about a fixed origin: the inner loop of the digest. */
#include "ingest/digest_private.h"

void digest_sums_add(digest_sums *out, double *const value[3], const double origin[3], size_t n)
{
    const double *x = value[0], *y = value[1], *z = value[2];
    const double x0 = origin[0], y0 = origin[1], z0 = origin[2];
    double sx = 0, sy = 0, sz = 0, xx = 0, xy = 0, xz = 0, yy = 0, yz = 0, zz = 0;
    for (size_t i = 0; i < n; i++) {
        double u = x[i] - x0, v = y[i] - y0, w = z[i] - z0;
        sx += u;
        sy += v;
        sz += w;
        xx += u * u;
        xy += u * v;
        xz += u * w;
        yy += v * v;
        yz += v * w;
        zz += w * w;
    }
    const double sum[3] = {sx, sy, sz}, product[DIGEST_PRODUCTS] = {xx, xy, xz, yy, yz, zz};
    for (size_t k = 0; k < 3; k++)
        out->sum[k] += sum[k];
    for (size_t p = 0; p < DIGEST_PRODUCTS; p++)
        out->product[p] += product[p];
}

size_t digest_pair(size_t k, size_t m)
{
    static const unsigned char place[3][3] = {{0, 1, 2}, {1, 3, 4}, {2, 4, 5}};
    return place[k][m];
}

void digest_sums_join(digest_sums *into, const digest_sums *from)
{
    for (size_t k = 0; k < 3; k++)
        into->sum[k] += from->sum[k];
    for (size_t p = 0; p < DIGEST_PRODUCTS; p++)
        into->product[p] += from->product[p];
}

/* sum (v_k - m_k)(v_l - m_l) = sum u_k u_l - d_k sum u_l - d_l sum u_k + n d_k d_l, u = v - origin, d = m - origin */
void digest_sums_about(const digest_sums *sums, size_t n, const double origin[3], const double mean[3],
                       double out[3][3])
{
    for (size_t k = 0; k < 3; k++)
        for (size_t m = 0; m < 3; m++) {
            double dk = mean[k] - origin[k], dm = mean[m] - origin[m];
            out[k][m] = sums->product[digest_pair(k, m)] - dk * sums->sum[m] - dm * sums->sum[k] +
                        (double)n * dk * dm;
        }
}
