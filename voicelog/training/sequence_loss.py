"""The sequence loss: connectionist temporal classification against all label paths.

Plain CTC (Graves et al. 2006) raises the paths of the right phones. The
sequence loss also lowers all other paths, each weighted by how often its
phones follow one another in the training texts (a bigram), which is
lattice-free maximum mutual information in the CTC topology (Povey et al. 2016).
The sum over all paths is a forward-backward recursion over two states for each
phone: on the phone itself, or on a blank after it.
"""

from functools import cache

import numpy as np
import torch
from torch import Tensor

from voicelog.hearing.phones import OUTPUTS
from voicelog.learning.all_paths import phone_bigram as phone_bigram


def log_all_paths(log_posteriors: Tensor, bigram: Tensor, lengths: Tensor) -> Tensor:
    """(time, batch, 40), (40, 40), (batch,) -> (batch,) log of the summed weight of all paths."""
    if log_posteriors.is_cuda:
        return _AllPaths.apply(log_posteriors, bigram, lengths)
    return log_all_paths_reference(log_posteriors, bigram, lengths)


def log_all_paths_reference(log_posteriors: Tensor, bigram: Tensor, lengths: Tensor) -> Tensor:
    """The recursion in plain torch operations: slow, any device, differentiable."""
    posteriors = log_posteriors.exp()
    batch, outputs = log_posteriors.shape[1:]
    on_phone = log_posteriors.new_zeros(batch, outputs)
    on_blank = log_posteriors.new_zeros(batch, outputs)
    on_blank[:, 0] = 1.0
    total = log_posteriors.new_zeros(batch)
    repeats = bigram.diagonal()
    phones = torch.arange(outputs, device=bigram.device) > 0
    for time, now in enumerate(posteriors):
        before = on_phone + on_blank
        # A phone goes on, or follows another; it follows itself only over a blank.
        next_phone = (on_phone + before @ bigram - on_phone * repeats) * now * phones
        next_blank = before * now[:, :1]
        scale = (next_phone + next_blank).sum(1)
        running = (time < lengths).float()
        total = total + running * torch.where(running > 0, scale, torch.ones_like(scale)).log()
        keep = running[:, None]
        divisor = torch.where(running > 0, scale, torch.ones_like(scale))[:, None]
        on_phone = (keep * next_phone + (1 - keep) * on_phone) / divisor
        on_blank = (keep * next_blank + (1 - keep) * on_blank) / divisor
    return total


class _AllPaths(torch.autograd.Function):
    """The same as one CUDA kernel, a thread block for each utterance; the gradient is computed on the way."""

    @staticmethod
    def forward(ctx, log_posteriors: Tensor, bigram: Tensor, lengths: Tensor) -> Tensor:
        import cupy

        time, batch, outputs = log_posteriors.shape
        scores = log_posteriors.contiguous().float()
        forward = scores.new_empty(time, batch, 2 * outputs)
        scale = scores.new_empty(time, batch)
        gradient = torch.zeros_like(scores)
        total = scores.new_empty(batch)
        counts = lengths.int().contiguous()
        stream = cupy.cuda.ExternalStream(torch.cuda.current_stream().cuda_stream)
        arrays = (scores, bigram.contiguous(), counts, forward, scale, gradient, total)
        with stream:
            _kernel()((batch,), (64,), (*(array.data_ptr() for array in arrays), np.int32(batch)))
        ctx.save_for_backward(gradient)
        return total

    @staticmethod
    def backward(ctx, upstream: Tensor) -> tuple[Tensor, None, None]:
        (gradient,) = ctx.saved_tensors
        return gradient * upstream[None, :, None], None, None


@cache
def _kernel():
    import cupy

    return cupy.RawKernel(KERNEL.replace("OUTPUTS", str(OUTPUTS)), "all_paths")


KERNEL = r"""
#define N OUTPUTS
__device__ float sum(float* shared, float mine) {
  int i = threadIdx.x;
  shared[i] = mine;
  __syncthreads();
  for (int half = 32; half > 0; half >>= 1) {
    if (i < half) shared[i] += shared[i + half];
    __syncthreads();
  }
  float all = shared[0];
  __syncthreads();
  return all;
}

extern "C" __global__ void all_paths(const float* scores, const float* bigram, const int* lengths, float* forward,
                                     float* scale, float* gradient, float* total, int batch) {
  __shared__ float follows[N * N], now[N], before[N], phone_later[N], shared[64];
  int utterance = blockIdx.x, i = threadIdx.x, length = lengths[utterance];
  bool used = i < N;
  for (int k = i; k < N * N; k += 64) follows[k] = bigram[k];
  float on_phone = 0.f, on_blank = (i == 0) ? 1.f : 0.f, log_sum = 0.f;
  __syncthreads();
  for (int t = 0; t < length; t++) {
    long row = (long)t * batch + utterance;
    if (used) { now[i] = expf(scores[row * N + i]); before[i] = on_phone + on_blank; }
    __syncthreads();
    float next_phone = 0.f, next_blank = 0.f;
    if (used) {
      if (i > 0) {
        float enter = on_phone - on_phone * follows[i * N + i];
        for (int k = 0; k < N; k++) enter += before[k] * follows[k * N + i];
        next_phone = enter * now[i];
      }
      next_blank = before[i] * now[0];
    }
    float all = fmaxf(sum(shared, next_phone + next_blank), 1e-30f);
    on_phone = next_phone / all;
    on_blank = next_blank / all;
    if (used) { forward[row * 2 * N + i] = on_phone; forward[row * 2 * N + N + i] = on_blank; }
    if (i == 0) { scale[row] = all; log_sum += logf(all); }
  }
  if (i == 0) total[utterance] = log_sum;
  float phone_after = 1.f, blank_after = 1.f;
  __syncthreads();
  for (int t = length - 1; t >= 0; t--) {
    long row = (long)t * batch + utterance;
    float through_phone = 0.f, through_blank = 0.f;
    if (used) {
      now[i] = expf(scores[row * N + i]);
      phone_later[i] = phone_after;
      through_phone = forward[row * 2 * N + i] * phone_after;
      through_blank = forward[row * 2 * N + N + i] * blank_after;
    }
    float blanks = sum(shared, through_blank);
    if (used) gradient[row * N + i] = (i == 0) ? blanks : through_phone;
    float all = scale[row], next = 0.f, own = 0.f;
    if (used) {
      for (int k = 1; k < N; k++) next += follows[i * N + k] * now[k] * phone_later[k];
      next = (now[0] * blank_after + next) / all;
      own = (i > 0) ? next + now[i] * phone_later[i] * (1.f - follows[i * N + i]) / all : next;
    }
    __syncthreads();
    blank_after = next;
    phone_after = own;
  }
}
"""
