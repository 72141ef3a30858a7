#include "core/parallel.h"

#include <algorithm>
#include <condition_variable>
#include <exception>
#include <memory>
#include <mutex>
#include <system_error>
#include <thread>
#include <utility>
#include <vector>

namespace rimwright {

namespace {

struct Job {
  const std::function<void(std::size_t, std::size_t, std::size_t)>* body = nullptr;
  std::size_t count = 0;
  std::size_t chunk_size = 1;
  std::size_t next_chunk = 0;
  std::size_t chunk_count = 0;
  std::size_t unfinished = 0;
  std::exception_ptr failure;
};

}  // namespace

struct Workers::State {
  std::mutex mutex;
  std::condition_variable work_ready, work_done;
  Job job;
  bool stopping = false;
  std::vector<std::thread> threads;
  std::function<void()> beside;  // waiting to be taken up
  bool beside_goes_on = false;
  std::exception_ptr beside_failure;

  // Takes up what was given to go on beside. Called with the lock held and something waiting; returns with it held.
  void work_beside(std::unique_lock<std::mutex>& lock) {
    const auto work = std::exchange(beside, nullptr);
    beside_goes_on = true;
    lock.unlock();
    std::exception_ptr failure;
    try {
      work();
    } catch (...) {
      failure = std::current_exception();
    }
    lock.lock();
    beside_failure = failure;
    beside_goes_on = false;
    work_done.notify_all();
  }

  // Takes chunks until none is left. Called with the lock held; returns with it held.
  void work_off(std::unique_lock<std::mutex>& lock) {
    while (job.next_chunk < job.chunk_count) {
      const std::size_t chunk = job.next_chunk++;
      const std::size_t begin = chunk * job.chunk_size;
      const std::size_t end = std::min(job.count, begin + job.chunk_size);
      const auto* body = job.body;
      lock.unlock();
      std::exception_ptr failure;
      try {
        (*body)(begin, end, chunk);
      } catch (...) {
        failure = std::current_exception();
      }
      lock.lock();
      if (failure && !job.failure) job.failure = failure;
      if (--job.unfinished == 0) work_done.notify_all();
    }
  }
};

Workers::Workers(std::size_t threads) : state_(std::make_unique<State>()) {
  if (threads == 0) threads = std::max(1U, std::thread::hardware_concurrency());
  for (std::size_t i = 1; i < threads; ++i) {
    state_->threads.emplace_back([state = state_.get()] {
      std::unique_lock lock(state->mutex);
      while (true) {
        const auto has_chunks = [state] { return state->job.next_chunk < state->job.chunk_count; };
        state->work_ready.wait(lock, [&] { return state->stopping || has_chunks() || state->beside != nullptr; });
        if (state->stopping) return;
        if (has_chunks())
          state->work_off(lock);
        else
          state->work_beside(lock);
      }
    });
  }
}

Workers::~Workers() {
  {
    const std::lock_guard lock(state_->mutex);
    state_->stopping = true;
  }
  state_->work_ready.notify_all();
  for (auto& thread : state_->threads) thread.join();
}

std::size_t Workers::thread_count() const { return state_->threads.size() + 1; }

void Workers::for_chunks(std::size_t count, std::size_t chunk_size,
                         const std::function<void(std::size_t, std::size_t, std::size_t)>& body) {
  if (count == 0) return;
  std::unique_lock lock(state_->mutex);
  Job& job = state_->job;
  job = Job{};
  job.body = &body;
  job.count = count;
  job.chunk_size = std::max<std::size_t>(1, chunk_size);
  job.chunk_count = (count + job.chunk_size - 1) / job.chunk_size;
  job.unfinished = job.chunk_count;
  state_->work_ready.notify_all();
  state_->work_off(lock);
  state_->work_done.wait(lock, [&job] { return job.unfinished == 0; });
  if (job.failure) std::rethrow_exception(job.failure);
}

void Workers::do_all(const std::vector<std::function<void()>>& tasks) {
  for_chunks(tasks.size(), 1, [&](std::size_t i, std::size_t, std::size_t) { tasks[i](); });
}

void Workers::begin_beside(std::function<void()> work) {
  finish_beside();
  const std::lock_guard lock(state_->mutex);
  state_->beside = std::move(work);
  state_->work_ready.notify_one();
}

void Workers::finish_beside() {
  std::unique_lock lock(state_->mutex);
  if (state_->beside != nullptr) state_->work_beside(lock);
  state_->work_done.wait(lock, [this] { return !state_->beside_goes_on; });
  if (const auto failure = std::exchange(state_->beside_failure, nullptr)) std::rethrow_exception(failure);
}

void all_at_once(std::size_t count, const std::function<void(std::size_t)>& body) {
  std::vector<std::jthread> threads;
  for (std::size_t i = 1; i < count; ++i) {
    try {
      threads.emplace_back(body, i);
    } catch (const std::system_error&) {  // no more threads to be had
      body(i);
    }
  }
  if (count > 0) body(0);
}

}  // namespace rimwright
