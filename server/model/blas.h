/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The few BLAS routines the estimator calls, under their Fortran names: all matrices are column-major. Reference: the BLAS Technical
 * Forum Standard. LAPACK comes through lapacke.h.
 */
#ifndef BIASBOOK_MODEL_BLAS_H
#define BIASBOOK_MODEL_BLAS_H

void dgemm_(const char *transa, const char *transb, const int *m, const int *n, const int *k, const double *alpha, const double *a,
            const int *lda, const double *b, const int *ldb, const double *beta, double *c, const int *ldc);
void dsymm_(const char *side, const char *uplo, const int *m, const int *n, const double *alpha, const double *a, const int *lda,
            const double *b, const int *ldb, const double *beta, double *c, const int *ldc);
void dsymv_(const char *uplo, const int *n, const double *alpha, const double *a, const int *lda, const double *x, const int *incx,
            const double *beta, double *y, const int *incy);
void dsyrk_(const char *uplo, const char *trans, const int *n, const int *k, const double *alpha, const double *a, const int *lda,
            const double *beta, double *c, const int *ldc);
void dtrsm_(const char *side, const char *uplo, const char *transa, const char *diag, const int *m, const int *n, const double *alpha,
            const double *a, const int *lda, double *b, const int *ldb);
void dgemv_(const char *trans, const int *m, const int *n, const double *alpha, const double *a, const int *lda, const double *x,
            const int *incx, const double *beta, double *y, const int *incy);
void dtrsv_(const char *uplo, const char *trans, const char *diag, const int *n, const double *a, const int *lda, double *x,
            const int *incx);

/* Present in OpenBLAS only; a pool of threads inside the daemon would fight with its own. */
extern void openblas_set_num_threads(int n) __attribute__((weak));

#endif
