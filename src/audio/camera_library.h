/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Within camera.c: libavformat and its like bring a hundred shared libraries with them, a tenth of a second of every
 * start. They are loaded when the first camera file is opened, as the versions that the program was built with. */
#ifndef TT_AUDIO_CAMERA_LIBRARY_H
#define TT_AUDIO_CAMERA_LIBRARY_H

#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libswresample/swresample.h>
#include <stdbool.h>

#include "base/fail.h"

/* CALL(library, function) */
#define TT_CAMERA_CALLS(CALL)                                                                                          \
    CALL(UTIL, av_channel_layout_default)                                                                              \
    CALL(UTIL, av_channel_layout_uninit)                                                                               \
    CALL(UTIL, av_dict_get)                                                                                            \
    CALL(UTIL, av_frame_alloc)                                                                                         \
    CALL(UTIL, av_frame_free)                                                                                          \
    CALL(UTIL, av_frame_unref)                                                                                         \
    CALL(UTIL, av_log_set_level)                                                                                       \
    CALL(UTIL, av_rescale_q)                                                                                           \
    CALL(UTIL, av_strerror)                                                                                            \
    CALL(CODEC, av_packet_alloc)                                                                                       \
    CALL(CODEC, av_packet_free)                                                                                        \
    CALL(CODEC, av_packet_unref)                                                                                       \
    CALL(CODEC, avcodec_alloc_context3)                                                                                \
    CALL(CODEC, avcodec_free_context)                                                                                  \
    CALL(CODEC, avcodec_get_name)                                                                                      \
    CALL(CODEC, avcodec_open2)                                                                                         \
    CALL(CODEC, avcodec_parameters_to_context)                                                                         \
    CALL(CODEC, avcodec_receive_frame)                                                                                 \
    CALL(CODEC, avcodec_send_packet)                                                                                   \
    CALL(FORMAT, av_find_best_stream)                                                                                  \
    CALL(FORMAT, av_read_frame)                                                                                        \
    CALL(FORMAT, avformat_close_input)                                                                                 \
    CALL(FORMAT, avformat_find_stream_info)                                                                            \
    CALL(FORMAT, avformat_open_input)                                                                                  \
    CALL(RESAMPLE, swr_alloc_set_opts2)                                                                                \
    CALL(RESAMPLE, swr_convert)                                                                                        \
    CALL(RESAMPLE, swr_free)                                                                                           \
    CALL(RESAMPLE, swr_init)

#define TT_CAMERA_POINTER(library, function) __typeof__(function) *function;
struct tt_camera_calls {
    TT_CAMERA_CALLS(TT_CAMERA_POINTER)
};
#undef TT_CAMERA_POINTER

/* The calls, once tt_camera_library_load was true. */
extern struct tt_camera_calls tt_camera_calls;
bool tt_camera_library_load(const char *path, struct tt_error *err);

#ifndef TT_CAMERA_LIBRARY_ITSELF
#define av_channel_layout_default tt_camera_calls.av_channel_layout_default
#define av_channel_layout_uninit tt_camera_calls.av_channel_layout_uninit
#define av_dict_get tt_camera_calls.av_dict_get
#define av_frame_alloc tt_camera_calls.av_frame_alloc
#define av_frame_free tt_camera_calls.av_frame_free
#define av_frame_unref tt_camera_calls.av_frame_unref
#define av_log_set_level tt_camera_calls.av_log_set_level
#define av_rescale_q tt_camera_calls.av_rescale_q
#define av_strerror tt_camera_calls.av_strerror
#define av_packet_alloc tt_camera_calls.av_packet_alloc
#define av_packet_free tt_camera_calls.av_packet_free
#define av_packet_unref tt_camera_calls.av_packet_unref
#define avcodec_alloc_context3 tt_camera_calls.avcodec_alloc_context3
#define avcodec_free_context tt_camera_calls.avcodec_free_context
#define avcodec_get_name tt_camera_calls.avcodec_get_name
#define avcodec_open2 tt_camera_calls.avcodec_open2
#define avcodec_parameters_to_context tt_camera_calls.avcodec_parameters_to_context
#define avcodec_receive_frame tt_camera_calls.avcodec_receive_frame
#define avcodec_send_packet tt_camera_calls.avcodec_send_packet
#define av_find_best_stream tt_camera_calls.av_find_best_stream
#define av_read_frame tt_camera_calls.av_read_frame
#define avformat_close_input tt_camera_calls.avformat_close_input
#define avformat_find_stream_info tt_camera_calls.avformat_find_stream_info
#define avformat_open_input tt_camera_calls.avformat_open_input
#define swr_alloc_set_opts2 tt_camera_calls.swr_alloc_set_opts2
#define swr_convert tt_camera_calls.swr_convert
#define swr_free tt_camera_calls.swr_free
#define swr_init tt_camera_calls.swr_init
#endif

#endif
