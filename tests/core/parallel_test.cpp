#include "core/parallel.h"

#include <gtest/gtest.h>

#include <atomic>
#include <barrier>
#include <chrono>
#include <stdexcept>
#include <thread>
#include <vector>

namespace rimwright {
namespace {

TEST(Workers, CoverEveryItemOnceWhateverTheThreads) {
  for (const std::size_t threads : {1U, 2U, 5U}) {
    Workers workers(threads);
    for (const std::size_t count : {0U, 1U, 7U, 1000U}) {
      std::vector<int> visits(count, 0);
      workers.for_chunks(count, 3, [&](std::size_t begin, std::size_t end, std::size_t chunk) {
        EXPECT_EQ(begin, chunk * 3);
        for (std::size_t i = begin; i < end; ++i) ++visits[i];
      });
      EXPECT_EQ(visits, std::vector<int>(count, 1)) << threads << " threads, " << count << " items";
    }
  }
}

TEST(Workers, DoEachTaskOnce) {
  for (const std::size_t threads : {1U, 2U, 5U}) {
    Workers workers(threads);
    std::vector<int> done(3, 0);
    workers.do_all({[&] { ++done[0]; }, [&] { ++done[1]; }, [&] { ++done[2]; }});
    EXPECT_EQ(done, std::vector<int>(3, 1)) << threads;
  }
}

TEST(Workers, RethrowAfterTheOtherChunksFinished) {
  Workers workers(2);
  std::atomic<int> finished = 0;
  EXPECT_THROW(workers.for_chunks(10, 1,
                                  [&](std::size_t begin, std::size_t, std::size_t) {
                                    if (begin == 4) throw std::runtime_error("chunk 4");
                                    ++finished;
                                  }),
               std::runtime_error);
  EXPECT_EQ(finished, 9);
}

TEST(Workers, DoWorkBesideChunksOnceWhateverTheThreads) {
  for (const std::size_t threads : {1U, 2U, 5U}) {
    Workers workers(threads);
    int done = 0;
    workers.finish_beside();  // nothing begun
    for (int round = 1; round <= 50; ++round) {
      workers.begin_beside([&done] { ++done; });
      std::vector<int> visits(100, 0);
      workers.for_chunks(100, 7, [&](std::size_t begin, std::size_t end, std::size_t) {
        for (std::size_t i = begin; i < end; ++i) ++visits[i];
      });
      EXPECT_EQ(visits, std::vector<int>(100, 1));
      workers.finish_beside();
      EXPECT_EQ(done, round) << threads << " threads";
    }
    workers.begin_beside([&done] { ++done; });
    workers.begin_beside([&done] { ++done; });  // waits for the one before
    workers.finish_beside();
    EXPECT_EQ(done, 52) << threads << " threads";
  }
}

TEST(Workers, RethrowWhatFailedBesideOnce) {
  for (const std::size_t threads : {1U, 2U}) {
    Workers workers(threads);
    workers.begin_beside([] { throw std::runtime_error("beside"); });
    EXPECT_THROW(workers.finish_beside(), std::runtime_error) << threads << " threads";
    EXPECT_NO_THROW(workers.finish_beside());
  }
}

TEST(Workers, EndWhileWorkBesideWaitsOrGoesOn) {
  for (int round = 0; round < 50; ++round) {
    std::atomic<int> begun = 0, ended = 0;  // outlive the workers
    {
      Workers workers(1 + static_cast<std::size_t>(round) % 2);
      workers.begin_beside([&] {
        ++begun;
        std::this_thread::sleep_for(std::chrono::microseconds(200));
        ++ended;
      });
    }
    // Dropped before it was taken up, or finished; never cut off, gone on after the workers, or done twice.
    const int begun_by_then = begun, ended_by_then = ended;
    EXPECT_EQ(begun_by_then, ended_by_then) << "round " << round;
    EXPECT_LE(begun_by_then, 1) << "round " << round;
  }
}

// Each waits for all the others, which would never end if they came one after the other.
TEST(AllAtOnce, GoesOnForEveryOneAtTheSameTime) {
  for (const std::size_t count : {0U, 1U, 9U}) {
    std::barrier everyone(static_cast<std::ptrdiff_t>(count));
    std::vector<int> visits(count, 0);
    all_at_once(count, [&](std::size_t i) {
      everyone.arrive_and_wait();
      ++visits[i];
    });
    EXPECT_EQ(visits, std::vector<int>(count, 1));
  }
}

}  // namespace
}  // namespace rimwright
