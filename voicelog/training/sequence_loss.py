"""The sequence loss: connectionist temporal classification against all label paths.

Plain CTC (Graves et al. 2006) raises the paths of the right phones. The
sequence loss also lowers all other paths, each weighted by how often its
phones follow the two before them in the training texts (a trigram), which is
lattice-free maximum mutual information in the CTC topology (Povey et al. 2016).
The sum over all paths is a forward-backward recursion over two states for each
pair of phones, the one being said and the one before it: on the phone itself,
or on a blank after it. A bigram taught less (hearing/model/README.md).
"""

from collections.abc import Iterable
from functools import cache

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from voicelog.hearing.phones import OUTPUTS
from voicelog.learning.all_paths import phone_bigram

BEHIND = 8.0  # pseudo-counts of the bigram behind each pair of phones
THREADS = OUTPUTS * OUTPUTS // 2  # of the kernel: two states each; whole warps of 32


def phone_trigram(labels: Iterable[tuple[tuple[int, ...], float]]) -> NDArray[np.float32]:
    """(40, 40, 40): chance of the third phone after the first two; 0 stands for the start."""
    labels = list(labels)
    bigram = phone_bigram(labels)
    counts = np.zeros((OUTPUTS, OUTPUTS, OUTPUTS))
    for phones, weight in labels:
        padded = (0, 0, *phones)
        np.add.at(counts, (padded[:-2], padded[1:-1], padded[2:]), weight)
    chances = (counts + BEHIND * bigram) / (counts.sum(2, keepdims=True) + BEHIND)
    return chances.astype(np.float32)


def log_all_paths(log_posteriors: Tensor, trigram: Tensor, lengths: Tensor) -> Tensor:
    """(time, batch, 40), (40, 40, 40), (batch,) -> (batch,) log of the summed weight of all paths."""
    if log_posteriors.is_cuda:
        return _AllPaths.apply(log_posteriors, trigram, lengths)
    return log_all_paths_reference(log_posteriors, trigram, lengths)


def log_all_paths_reference(log_posteriors: Tensor, trigram: Tensor, lengths: Tensor) -> Tensor:
    """The recursion in plain torch operations: slow, any device, differentiable."""
    posteriors = log_posteriors.exp()
    batch, outputs = log_posteriors.shape[1:]
    on_phone = log_posteriors.new_zeros(batch, outputs, outputs)
    on_blank = log_posteriors.new_zeros(batch, outputs, outputs)
    on_blank[:, 0, 0] = 1.0
    total = log_posteriors.new_zeros(batch)
    repeats = torch.einsum("ijj->ij", trigram)
    phones = torch.arange(outputs, device=trigram.device) > 0
    for time, now in enumerate(posteriors):
        before = on_phone + on_blank
        # A phone goes on, or follows another; it follows itself only over a blank.
        enter = torch.einsum("bij,ijk->bjk", before, trigram)
        enter = enter - torch.diag_embed((on_phone * repeats).sum(1))
        next_phone = (on_phone + enter) * (now * phones)[:, None]
        next_blank = before * now[:, :1, None]
        scale = (next_phone + next_blank).sum((1, 2))
        running = (time < lengths).float()
        scale = torch.where(running > 0, scale, torch.ones_like(scale))
        total = total + scale.log()
        keep = running[:, None, None]
        on_phone = (keep * next_phone + (1 - keep) * on_phone) / scale[:, None, None]
        on_blank = (keep * next_blank + (1 - keep) * on_blank) / scale[:, None, None]
    return total


class _AllPaths(torch.autograd.Function):
    """The same as one CUDA kernel, a thread block for each utterance; the gradient is computed on the way."""

    @staticmethod
    def forward(ctx, log_posteriors: Tensor, trigram: Tensor, lengths: Tensor) -> Tensor:
        import cupy

        time, batch, outputs = log_posteriors.shape
        scores = log_posteriors.contiguous().float()
        forward = scores.new_empty(time, batch, 2 * outputs * outputs)
        scale = scores.new_empty(time, batch)
        gradient = torch.zeros_like(scores)
        total = scores.new_empty(batch)
        turned = trigram.permute(2, 0, 1).contiguous()
        arrays = (scores, trigram.contiguous(), turned, lengths.int().contiguous(), forward, scale, gradient, total)
        stream = cupy.cuda.ExternalStream(torch.cuda.current_stream().cuda_stream)
        with stream:
            _kernel()((batch,), (THREADS,), (*(array.data_ptr() for array in arrays), np.int32(batch)))
        ctx.save_for_backward(gradient)
        return total

    @staticmethod
    def backward(ctx, upstream: Tensor) -> tuple[Tensor, None, None]:
        (gradient,) = ctx.saved_tensors
        return gradient * upstream[None, :, None], None, None


@cache
def _kernel():
    import cupy

    return cupy.RawKernel(KERNEL.replace("OUTPUTS", str(OUTPUTS)).replace("THREADS", str(THREADS)), "all_paths")


KERNEL = r"""
#define N OUTPUTS
#define S (N * N)
#define OWN 2
__device__ float sum(float* shared, float mine) {
  for (int half = 16; half > 0; half >>= 1) mine += __shfl_xor_sync(0xffffffffu, mine, half);
  if ((threadIdx.x & 31) == 0) shared[threadIdx.x >> 5] = mine;
  __syncthreads();
  float all = 0.f;
  for (int k = 0; k < THREADS / 32; k++) all += shared[k];
  __syncthreads();
  return all;
}

extern "C" __global__ void all_paths(const float* scores, const float* next, const float* turned, const int* lengths,
                                     float* forward, float* scale, float* gradient, float* total, int batch) {
  __shared__ float now[N], before[S], blank[S], shared[32];
  int utterance = blockIdx.x, length = lengths[utterance];
  float on_phone[OWN], on_blank[OWN], log_sum = 0.f;
  for (int o = 0; o < OWN; o++) {
    on_phone[o] = 0.f;
    on_blank[o] = (threadIdx.x + o == 0) ? 1.f : 0.f;
  }
  for (int t = 0; t < length; t++) {
    long row = (long)t * batch + utterance;
    if (threadIdx.x < N) now[threadIdx.x] = expf(scores[row * N + threadIdx.x]);
    for (int o = 0; o < OWN; o++) {
      int s = threadIdx.x + o * THREADS;
      before[s] = on_phone[o] + on_blank[o];
      blank[s] = on_blank[o];
    }
    __syncthreads();
    float mine = 0.f;
    for (int o = 0; o < OWN; o++) {
      int s = threadIdx.x + o * THREADS, j = s / N, k = s % N;
      const float* from = (j == k) ? blank : before;
      float enter = 0.f;
      for (int i = 0; i < N; i++) enter += from[i * N + j] * next[i * S + s];
      on_phone[o] = k ? (on_phone[o] + enter) * now[k] : 0.f;
      on_blank[o] = before[s] * now[0];
      mine += on_phone[o] + on_blank[o];
    }
    float all = fmaxf(sum(shared, mine), 1e-30f);
    for (int o = 0; o < OWN; o++) {
      int s = threadIdx.x + o * THREADS;
      on_phone[o] /= all;
      on_blank[o] /= all;
      forward[row * 2 * S + s] = on_phone[o];
      forward[row * 2 * S + S + s] = on_blank[o];
    }
    if (threadIdx.x == 0) { scale[row] = all; log_sum += logf(all); }
  }
  if (threadIdx.x == 0) total[utterance] = log_sum;
  float phone_after[OWN], blank_after[OWN];
  for (int o = 0; o < OWN; o++) phone_after[o] = blank_after[o] = 1.f;
  __syncthreads();
  for (int t = length - 1; t >= 0; t--) {
    long row = (long)t * batch + utterance;
    if (threadIdx.x < N) now[threadIdx.x] = expf(scores[row * N + threadIdx.x]);
    __syncthreads();
    float* through = before;  // of each state: its share of the paths at this time
    float* entered = blank;   // (later phone, earlier phone): what a change to it is worth
    float blanks = 0.f;
    for (int o = 0; o < OWN; o++) {
      int s = threadIdx.x + o * THREADS, j = s / N, k = s % N;
      through[s] = forward[row * 2 * S + s] * phone_after[o];
      entered[k * N + j] = k ? now[k] * phone_after[o] : 0.f;
      blanks += forward[row * 2 * S + S + s] * blank_after[o];
    }
    blanks = sum(shared, blanks);
    if (threadIdx.x < N) {
      float passed = 0.f;
      for (int j = 0; j < N; j++) passed += through[j * N + threadIdx.x];
      gradient[row * N + threadIdx.x] = threadIdx.x ? passed : blanks;
    }
    float all = scale[row];
    for (int o = 0; o < OWN; o++) {
      int s = threadIdx.x + o * THREADS, j = s % N;
      float on = 0.f;
      for (int k = 1; k < N; k++) on += turned[k * S + s] * entered[k * N + j];
      on += now[0] * blank_after[o];
      float own = j ? now[j] * phone_after[o] - turned[j * S + s] * entered[j * N + j] : 0.f;
      blank_after[o] = on / all;
      phone_after[o] = (on + own) / all;
    }
    __syncthreads();
  }
}
"""
